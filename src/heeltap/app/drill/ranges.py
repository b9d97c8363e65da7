"""Some bars of a drill, in a loop if wanted, with the bar before them to run in; and how a drill counts in.

Inside: `drill_bars`, `same_bars`, `from_bar`, `with_count_in`, `MOST_PASSES`.
"""

from collections import Counter
from dataclasses import replace

import numpy as np

from heeltap.app.drill.drill import Drill
from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import as_ints
from heeltap.model.excerpt import Excerpt, excerpt, repeated
from heeltap.model.exercise import Clicks
from heeltap.model.messages import OFF, Schedule

__all__ = ["MOST_PASSES", "drill_bars", "from_bar", "same_bars", "with_count_in"]

MOST_PASSES = 100
"""A loop without a number of passes ends after so many, or after ten minutes: a take of an hour tells nobody anything."""

_LONGEST_US = 600_000_000

_MOST_COUNT_IN = 8


def drill_bars(
    drill: Drill, bars: tuple[int, int] | None = None, *, passes: int | None = 1, run_in: bool = False
) -> Drill:
    """The drill of some bars.

    Parameters
    ----------
    drill : Drill
        Whole, or bars of a drill: then of the whole one that it was made of.
    bars : tuple of int, optional
        First and last; None is all.
    passes : int or None
        How often in a row; None goes on until the player stops, up to `MOST_PASSES` or ten minutes.
    run_in : bool
        The bar before the first one sounds as well, and is not judged.

    Returns
    -------
    Drill
        Its bars count from 1; ``Drill.bar_numbers`` says what they are called in the whole.

    Raises
    ------
    PlanError
        There are no such bars, or none before the first to run in.
    """
    whole = drill if drill.whole is None else drill.whole
    first, last = (1, whole.plan.bars) if bars is None else bars
    if bars is None and passes == 1 and not run_in:
        return whole
    if run_in and first == 1:
        raise PlanError(sentence("run-in", "bar 1, which has no bar before it", "bars from 2 on"))
    one = excerpt(whole.plan, first, last)
    most = min(MOST_PASSES, max(1, _LONGEST_US // max(one.length_us, 1)))
    if passes is not None and not 1 <= passes <= MOST_PASSES:
        raise PlanError(sentence("loop", f"{passes} passes", f"1 to {MOST_PASSES}"))
    cut = one if passes == 1 else excerpt(whole.plan, first, last, passes=most if passes is None else passes)
    named = f"bar {first}" if first == last else f"bars {first}-{last}"
    lead, lead_us = _run_in(whole, cut) if run_in else (None, 0)
    return replace(
        whole,
        name=f"{whole.name}-{named.replace(' ', '-') if bars else 'loop'}",
        title=whole.title if bars is None else f"{whole.title}, {named}",
        plan=cut.plan,
        clicked=None if whole.clicked is None else _clicks(whole.clicked, cut),
        backing=None if whole.backing is None else _backing(whole.backing, cut),
        band=replace(whole.band, schedule=None if whole.band.schedule is None else _backing(whole.band.schedule, cut)),
        exercise=None,  # a part of an exercise is not the exercise: it counts towards no grade and no set
        whole=whole,
        bar_numbers=cut.numbers,
        passes=cut.passes,
        run_in=lead,
        run_in_us=lead_us,
    )


def same_bars(drill: Drill, whole: Drill) -> Drill:
    """The bars of a drill, taken from another whole.

    Parameters
    ----------
    drill : Drill
        Bars of a drill, or a whole one.
    whole : Drill
        With as many bars as the one that ``drill`` is or was made of.

    Returns
    -------
    Drill
        Of ``whole``, as ``drill`` is of its own.
    """
    if drill.whole is None:
        return whole
    bars = (drill.bar_numbers[0], drill.bar_numbers[-1])
    every = bars == (1, whole.plan.bars) and drill.run_in is None
    return drill_bars(whole, None if every else bars, passes=drill.passes, run_in=drill.run_in is not None)


def from_bar(drill: Drill, bar: int) -> Drill:
    """What is left of a drill from one of its bars on, with a count before it.

    Parameters
    ----------
    drill : Drill
    bar : int
        Of this drill, from 1.

    Returns
    -------
    Drill
        A loop begins again with the first bar of its pass, and has the passes that are left. A drill with a bar to run in
        has one here, too.
    """
    whole = drill if drill.whole is None else drill.whole
    numbers = drill.bar_numbers or tuple(range(1, whole.plan.bars + 1))
    bar = min(max(bar, 1), len(numbers))
    run_in = drill.run_in is not None
    if drill.passes > 1:
        done = (bar - 1) // (len(numbers) // drill.passes)
        return drill_bars(whole, (numbers[0], numbers[-1]), passes=drill.passes - done, run_in=run_in)
    return drill if bar == 1 else drill_bars(whole, (numbers[bar - 1], numbers[-1]), run_in=run_in)


def with_count_in(drill: Drill, bars: int) -> Drill:
    """The drill with another count-in.

    Parameters
    ----------
    drill : Drill
    bars : int
        1 to 8.

    Returns
    -------
    Drill

    Raises
    ------
    PlanError
        Another number of bars.
    """
    if not 1 <= bars <= _MOST_COUNT_IN:
        raise PlanError(sentence("count-in", f"{bars} bars", f"1 to {_MOST_COUNT_IN}"))
    whole = None if drill.whole is None else replace(drill.whole, count_in_bars=bars)
    return replace(drill, count_in_bars=bars, whole=whole)


def _clicks(clicked: Clicks, cut: Excerpt) -> Clicks:
    """The clicks of these bars."""
    rows, at = repeated(clicked.at_tick, cut.from_tick, cut.length_ticks, cut.passes)
    return Clicks(at, clicked.strength[rows], clicked.is_one[rows])


def _backing(backing: Schedule, cut: Excerpt) -> Schedule:
    """What sounds in these bars; what began in one pass is let go at its end at the latest."""
    rows = []
    for turn in range(cut.passes):
        rows += _stretch(backing, cut.from_us, cut.from_us + cut.length_us, turn * cut.length_us)
    return _schedule(rows, cut.passes * cut.length_us)


def _run_in(whole: Drill, cut: Excerpt) -> tuple[Schedule, int]:
    """What sounds in the bar before these, ending at 0, and its length."""
    start = whole.plan.metre.quarter_of_bar(cut.first_bar - 1)
    from_us = round(float(whole.plan.tempo.us_at_quarter(start)))
    length_us = cut.from_us - from_us
    heard = replace(whole, run_in=None).schedule
    return _schedule(_stretch(heard, from_us, cut.from_us, -length_us), 0), length_us


def _schedule(rows: list[tuple[int, int, bytes, str]], end_us: int) -> Schedule:
    """Rows as a schedule, in time order; note-offs before note-ons of the same moment."""
    rows.sort(key=lambda row: row[:2])
    return Schedule(as_ints(r[0] for r in rows), tuple(r[2] for r in rows), tuple(r[3] for r in rows), end_us)


def _stretch(backing: Schedule, from_us: int, to_us: int, at_us: int) -> list[tuple[int, int, bytes, str]]:
    """The messages of a stretch, moved so that it begins at ``at_us``; every note that begins in it ends in it.

    Of notes of one key that overlap the first one to begin is the first one to end.
    """
    low, high = (int(row) for row in np.searchsorted(backing.due_us, [from_us, to_us]))
    earlier: Counter[bytes] = Counter()
    sounding: Counter[bytes] = Counter()
    rows = []
    for i in range(high):
        message, kind = backing.messages[i], backing.kind[i]
        name = bytes((0x80 | message[0] & 15, message[1], 0)) if len(message) == 3 else message
        now = earlier if i < low or (kind == OFF and earlier[name] > 0) else sounding
        if kind == OFF:
            now[name] -= 1
            if now is earlier or now[name] < 0:
                continue
        elif message[0] & 0xF0 == 0x90:
            now[name] += 1
        if i >= low:
            rows.append((int(backing.due_us[i]) - from_us + at_us, 1, message, kind))
    ended = [name for name, count in sounding.items() for _ in range(count)]
    return rows + [(to_us - from_us + at_us, 0, message, OFF) for message in ended]
