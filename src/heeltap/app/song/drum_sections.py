"""Where a song has no markers: sections guessed from where its drum pattern changes.

Each bar is the set of its kick, snare, hat and cymbal strokes on sixteenths. A section begins where the bars after it are alike,
the bars before it are alike, and the two are not. Ours; only a guess to be edited.

Inside: `sections_from_drums`.
"""

import numpy as np

from heeltap.files.smf import Midi
from heeltap.model.arrays import BoolArray
from heeltap.model.parts import Part
from heeltap.model.plan import Section

__all__ = ["sections_from_drums"]

_SLOTS = 16
"""A whole note's; a bar of another metre uses as many as it has."""

_SIDE = 4
"""Bars that are looked at on either side of a change."""

_UNLIKE = 0.3
"""Distance between the two sides from which it is a change (0 is the same pattern, 1 shares nothing)."""

_GROUPS = ((35, 36), (37, 38, 39, 40), (42, 44, 46), (49, 51, 52, 53, 55, 57, 59))
"""Bass drums, snare sounds, hi-hats, cymbals (General MIDI 1, percussion map); all others are one more group."""


def sections_from_drums(midi: Midi, drums: Part, bars: int) -> tuple[Section, ...]:
    """The sections of a song by its drum part, called ``part 1``, ``part 2`` and so on.

    Parameters
    ----------
    midi : Midi
    drums : Part
    bars : int
        Length of the song.

    Returns
    -------
    tuple of Section
        Whole bars, in order; empty for a song of fewer than eight bars.
    """
    if bars < 2 * _SIDE:
        return ()
    pattern = _patterns(midi, drums, bars)
    unlike = np.zeros(bars)
    for bar in range(_SIDE, bars - 1):
        # The bar before a change is often a fill, so it is not asked.
        before = pattern[max(bar - _SIDE, 0) : bar - 1].mean(axis=0)
        after = pattern[bar : bar + _SIDE].mean(axis=0)
        both = np.maximum(before, after).sum()
        unlike[bar] = np.abs(before - after).sum() / both if both else 0.0
    starts = [0]
    for bar in np.argsort(-unlike, kind="stable").tolist():
        if unlike[bar] >= _UNLIKE and all(abs(bar - start) >= _SIDE for start in starts):
            starts.append(bar)
    starts.sort()
    ends = [*starts[1:], bars]
    return tuple(
        Section(f"part {number}", first + 1, last)
        for number, (first, last) in enumerate(zip(starts, ends, strict=True), 1)
    )


def _patterns(midi: Midi, drums: Part, bars: int) -> BoolArray:
    """Which slots of each bar have a stroke of each group; shape (bars, 5 * 16)."""
    rows = midi.rows_of(drums)
    quarter = midi.tick[rows] / midi.tempo.ticks_per_quarter
    bar = midi.metre.bar_beat(quarter)[0]
    start = midi.metre.quarter_of_bar(bar)
    slot = np.rint((quarter - start) * _SLOTS / 4).astype(np.int64)
    over = slot >= _SLOTS
    bar, slot = bar + over, np.where(over, 0, slot)
    key = midi.pitch[rows]
    group = np.select([np.isin(key, keys) for keys in _GROUPS], range(len(_GROUPS)), len(_GROUPS))
    found = np.zeros((bars, len(_GROUPS) + 1, _SLOTS), dtype=np.bool_)
    inside = (bar >= 1) & (bar <= bars)
    found[bar[inside] - 1, group[inside], slot[inside]] = True
    return found.reshape(bars, -1)
