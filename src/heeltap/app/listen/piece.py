"""What can be heard in one go: a take, the bars of it that are worth playing again, a plan, or the click.

Inside: `Piece`, `whole`, `piece_of_take`, `piece_of_listed_bars`, `piece_of_drill`, `piece_of_click`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.drill.drill import Drill
from heeltap.app.listen.playback import both_versions, heard, heard_plan
from heeltap.app.takes.load_scored_inputs import score_inputs, scored_inputs_of
from heeltap.files.takes.folder import Take, load_take
from heeltap.model.messages import Schedule, merge
from heeltap.model.plan import Plan
from heeltap.model.result import Replay, Result
from heeltap.model.timeline import bar_starts_us, steady_metre, steady_tempo
from heeltap.sound.click import ClickSound, click_schedule
from heeltap.sound.stretches import BREATH_US, stretch

__all__ = ["Piece", "piece_of_click", "piece_of_drill", "piece_of_listed_bars", "piece_of_take", "whole"]

_STEP = 4
"""Bars that a jump goes: a phrase, in most of what is played here."""

_CLICK_BPM = 100.0
"""Of the click that is tried."""

_EARLY_US = 60_000
"""So much before a bar line a stroke still belongs to the bar behind it. Ours."""

_VERSIONS = ("the take as played", "the take where it belongs")


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Something that can be heard; the columns have a row for each bar, in the order in which they sound."""

    starts_us: tuple[int, ...]
    """Where the bar begins in what is sent, microseconds."""
    at_us: tuple[int, ...]
    """Where it begins in the take, microseconds from bar 1, beat 1."""
    bars: tuple[int, ...]
    """Its number."""
    moved_at: tuple[bool, ...]
    """Whether every stroke is heard where it belongs there, whatever is asked for."""
    stops: tuple[int, ...]
    """Rows that a jump goes to."""
    make: Callable[[], Schedule]
    """What is sent: both versions as two voices (`both_versions`) where there are two."""
    what: tuple[str, str]
    """Both versions in words; two alike where there is only one."""
    of_bars: bool = True
    """Whether its bars are those that the screen shows, so that they move along; False for the click alone."""


def whole(
    starts_us: Sequence[int], make: Callable[[], Schedule], what: tuple[str, str], *, of_bars: bool = True
) -> Piece:
    """Something from its first bar to its last, in jumps of four bars."""
    starts = tuple(starts_us)
    rows = len(starts)
    return Piece(
        starts, starts, tuple(range(1, rows + 1)), (False,) * rows, tuple(range(0, rows, _STEP)), make, what, of_bars
    )


def piece_of_take(folder: Path, sound: ClickSound) -> Piece:
    """A kept take with its click; raises `TakeFileError`, `MidiFileError` where it cannot be read."""
    take = load_take(folder)
    return _whole_take(take, score_inputs(scored_inputs_of(take)), sound)


def _whole_take(take: Take, result: Result, sound: ClickSound) -> Piece:
    """Both versions of a take from its first bar to its last."""
    made = both_versions(take, result, sound=sound)
    return whole(_starts_us(take.plan)[:-1], lambda: made, _VERSIONS)


def piece_of_listed_bars(folder: Path, sound: ClickSound) -> Piece:
    """The bars of a kept take that are worth playing again, the worst first, each as played and then where it belongs.

    A bar of run-in goes before each stretch. Where no bar is listed it is the whole take.

    Parameters
    ----------
    folder : Path
        The take's folder.
    sound : ClickSound
        Of the click and of a drummer.

    Raises
    ------
    TakeFileError, MidiFileError
        The take cannot be read.
    """
    take = load_take(folder)
    result = score_inputs(scored_inputs_of(take))
    stretches = [one for one in (_with_run_in(row, take.plan.bars) for row in result.replay) if one is not None]
    if not stretches:
        return _whole_take(take, result, sound)
    versions = heard(take, sound=sound), heard(take, result, sound=sound)
    return _in_turn(stretches, _starts_us(take.plan), versions)


def _with_run_in(row: Replay, bars: int) -> tuple[int, int] | None:
    """First and last bar to be heard, from 1; None where the take has no such bar."""
    first, last = max(row.first_bar - 1, 1), min(row.last_bar, bars)
    return (first, last) if first <= last else None


def _in_turn(stretches: Sequence[tuple[int, int]], starts: Sequence[int], versions: tuple[Schedule, Schedule]) -> Piece:
    """Each stretch in both versions, a breath apart."""
    rows: list[tuple[int, int, int, bool]] = []
    stops, parts, at_us = [], [], 0
    for first, last in stretches:
        stops.append(len(rows))
        for moved in (False, True):
            low, high = starts[first - 1], starts[last]
            # What was played early for the first bar line belongs to it; for the last one, to the bar behind.
            parts.append(stretch(versions[moved], low - _EARLY_US, high - _EARLY_US, at_us - _EARLY_US))
            rows += [(at_us + starts[bar - 1] - low, starts[bar - 1], bar, moved) for bar in range(first, last + 1)]
            at_us += high - low + BREATH_US
    sent = merge(*parts)
    begins, at, bars, moved_at = zip(*rows, strict=True)
    return Piece(begins, at, bars, moved_at, tuple(stops), lambda: sent, _VERSIONS)


def piece_of_drill(drill: Drill) -> Piece:
    """What is to be played."""
    return whole(_starts_us(drill.plan)[:-1], lambda: heard_plan(drill), ("what is to be played",) * 2)


def piece_of_click(sound: ClickSound) -> Piece:
    """Two bars of the click."""
    clicks = click_schedule(steady_tempo(_CLICK_BPM), steady_metre(), 2, count_in_bars=0, sound=sound)
    return whole((0, clicks.end_us // 2), lambda: clicks, ("the click",) * 2, of_bars=False)


def _starts_us(plan: Plan) -> tuple[int, ...]:
    """When each bar begins, and when the last one ends."""
    return bar_starts_us(plan.tempo, plan.metre, plan.bars)
