"""Planned notes that may have been played and lost: the MIDI system dropped a cycle there.

A note that came is judged as ever. One that is missing beside a dropped cycle is neither played nor missed.

Inside: `DROP_REACH_US`, `may_be_lost`, `lost_words`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.model.arrays import BoolArray, IntArray, as_ints
from heeltap.model.played import Played
from heeltap.wording import bars, count

__all__ = ["DROP_REACH_US", "lost_words", "may_be_lost"]

DROP_REACH_US = 100_000
"""From the moment at which a dropped cycle is told to a planned note that may be lost in it: two periods of 1,024 frames
(46 ms at 44.1 kHz), and half as much again for the player's own stray. Ours."""


def may_be_lost(expected_us: IntArray, match: IntArray, dropped_us: Sequence[int]) -> BoolArray:
    """Whether each planned note may have been played and lost. Ours.

    Parameters
    ----------
    expected_us : int64, shape (planned notes,)
        When each would have been heard.
    match : int64, shape (planned notes,)
        Row of the note that was played, -1 where none was.
    dropped_us : sequence of int
        When cycles were dropped, on the same axis.

    Returns
    -------
    bool, shape (planned notes,)
    """
    if not len(dropped_us):
        return np.zeros(match.size, dtype=np.bool_)
    drops = np.sort(as_ints(dropped_us))
    first = np.searchsorted(drops, expected_us - DROP_REACH_US, side="left")
    return np.asarray((match < 0) & (np.searchsorted(drops, expected_us + DROP_REACH_US, side="right") > first))


def lost_words(take: Played, lost: int) -> tuple[str, ...]:
    """A sentence for the cycles that were dropped; none where there were none. Ours.

    Parameters
    ----------
    take : Played
    lost : int
        Planned notes that may be lost so.

    Returns
    -------
    tuple of str
    """
    if not take.dropped_us:
        return ()
    numbers = take.metre.bar_beat(take.tempo.quarter_at(as_ints(take.dropped_us)))[0]
    inside = sorted({max(int(number), 1) for number in numbers})
    what = f"The MIDI system dropped {count(len(take.dropped_us), 'cycle')} (xruns) in {bars(inside)}"
    if not lost:
        return (f"{what}; no note is missing there",)
    pronoun = "it" if lost == 1 else "them"
    return (f"{what}: {count(lost, 'note')} may be lost there, so heeltap does not call {pronoun} missed",)
