"""What of a take is not held against the player: where nothing could be heard, and beside clicks that left too late.

Inside: `left_out_of`, `dropped_cycles_us`, `ClickFaults`.
"""

from typing import NamedTuple

import numpy as np

from heeltap.engine.deadlines import DISTURBS_US, SKIP_US
from heeltap.files.takes.journal import Journal
from heeltap.files.takes.journal_lines import DROPPED
from heeltap.files.takes.metadata import LeftOut
from heeltap.model.arrays import BoolArray, IntArray, as_ints
from heeltap.model.plan import Plan

__all__ = ["ClickFaults", "dropped_cycles_us", "left_out_of"]

_OPENS = {"lost": "back", "pause": "resume"}
"""Kinds of gap in a journal and what ends each."""

_GUIDES = (35, 36, 37, 38, 40)
"""Kick and snare, cross-stick included, in General MIDI's percussion map: what a player plays to. A late hat moves nobody."""

_MOST = 0.25
"""Where more of the strokes than this lay beside late clicks, leaving them out would leave too little to judge. Ours."""

_EARLY = 0.25
"""Share of the way back to the click before: a stroke so near before a late click was meant for it. Ours."""


class ClickFaults(NamedTuple):
    """What was wrong with the clicks that a player plays to."""

    late: int
    """Left 5 ms late or more."""
    unsent: int
    """Never left."""


def left_out_of(
    journal: Journal, plan: Plan, *, heard: str | None, until_us: int | None = None
) -> tuple[list[LeftOut], ClickFaults]:
    """What is not held against the player, and what was wrong with the clicks.

    Of several ports each has its gaps, and any of them leaves out its stretch: nobody can tell which strokes were meant
    for it.

    Parameters
    ----------
    journal : Journal
    plan : Plan
    heard : str or None
        What was asked to be heard, as ``Drill.heard``: with drums only kick and snare are what one plays to. None where
        nobody heard anything: a late click then disturbs nobody.
    until_us : int, optional
        Where an unfinished take ends; gaps end there, or with the plan.

    Returns
    -------
    spans : list of LeftOut
        Microseconds from bar 1, beat 1.
    faults : ClickFaults
    """
    end_us = round(float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(plan.bars + 1))))
    spans = _gaps(journal, end_us if until_us is None else min(until_us, end_us))
    if heard is None:
        return spans, ClickFaults(0, 0)
    guides = _guides(journal, drums=heard.startswith(("beat:", "part:")))
    due, late_us = journal.click_due_us[guides], (journal.click_sent_us - journal.click_due_us)[guides]
    disturbing, unsent = late_us >= DISTURBS_US, late_us > SKIP_US
    beside = [_beside(plan, due, int(row)) for row in np.flatnonzero(disturbing & (due >= 0))]
    inside = np.zeros(len(plan), dtype=np.bool_)
    for span in beside:
        inside |= (plan.at_us >= span.from_us) & (plan.at_us < span.to_us)
    if np.unique(plan.stroke[inside]).size <= _MOST * np.unique(plan.stroke).size:
        spans += beside
    return spans, ClickFaults(int(np.sum(disturbing & ~unsent)), int(np.sum(unsent)))


def dropped_cycles_us(journal: Journal) -> IntArray:
    """When the MIDI system dropped a cycle, microseconds from bar 1, beat 1; the first 10,000.

    Parameters
    ----------
    journal : Journal

    Returns
    -------
    int64, shape (number of cycles,)
    """
    at_ns = as_ints(gap.at_ns for gap in journal.gaps if gap.kind == DROPPED)[:10_000]
    return (at_ns - journal.zero_ns + 500) // 1000


def _gaps(journal: Journal, end_us: int) -> list[LeftOut]:
    """Where a stream broke; what never came back lasts to the end of the take."""
    spans: list[LeftOut] = []
    begun: dict[tuple[str, str], int] = {}
    for gap in journal.gaps:
        at_us = (gap.at_ns - journal.zero_ns + 500) // 1000
        if gap.kind in _OPENS:
            begun.setdefault((gap.kind, gap.port), at_us)
        ended = [key for key in begun if (_OPENS[key[0]], key[1]) == (gap.kind, gap.port)]
        spans += [LeftOut(begun.pop(key), at_us, "lost") for key in ended]
    return spans + [LeftOut(at_us, max(at_us, end_us), "lost") for at_us in begun.values()]


def _guides(journal: Journal, *, drums: bool) -> BoolArray:
    """Which clicks a player plays to; in the count all of them are plain clicks."""
    if not drums:
        return np.ones(journal.click_due_us.size, dtype=np.bool_)
    known = np.isin(journal.click_key, (*_GUIDES, -1))
    return np.asarray(known | (journal.click_due_us < 0), dtype=np.bool_)


def _beside(plan: Plan, due_us: IntArray, row: int) -> LeftOut:
    """The strokes that one click guides: from a little before it to as little before the next one, a beat at most."""
    at = int(due_us[row])
    quarter = float(plan.tempo.quarter_at(at))
    beat = plan.metre.metres[int(plan.metre.row_at(quarter))].beat_quarters
    beat_us = round(float(plan.tempo.us_at_quarter(quarter + beat))) - at
    after = min(int(due_us[due_us > at].min(initial=at + beat_us)) - at, beat_us)
    before = min(at - int(due_us[due_us < at].max(initial=at - beat_us)), beat_us)
    return LeftOut(at - round(_EARLY * before), at + after - round(_EARLY * after), "late click")
