"""Which notes of a part make the stroke on one place of a simpler form.

Inside: `Chord`, `key_chord`, `drum_chord`.
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from heeltap.course.simplify.notation import Written
from heeltap.model.arrays import IntArray
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Chord", "drum_chord", "key_chord"]

_INNER = 2
"""Notes between bass and top on the simplest levels: with them two a hand, which anybody can take hold of. Ours."""

_CLOSE = 2
"""Semitones: two notes no further apart are a rub; passing notes under a pedal make many, chords few. Ours."""

_SEMITONE = 1
"""A finger that is still down a semitone beside what is struck was left there: an ornament's, no suspension's. Ours."""

_STRAIGHT_TICKS = TICKS_PER_QUARTER // 4
"""What is struck within a sixteenth of the bass note's end follows straight on it. Ours."""

_LOW_DRUMS, _SNARES = (35, 36), (37, 38, 39, 40)
"""General MIDI percussion keys of bass drums and snare sounds (General MIDI 1)."""


class Chord(NamedTuple):
    """One stroke of a simpler form."""

    at_tick: int
    rows: tuple[int, ...]
    """Rows of its notes in the part."""


def key_chord(
    part: Written, at_tick: int, struck: IntArray, held: IntArray, rung: IntArray, after: IntArray, *, thin: bool
) -> Chord:
    """The stroke of a keyboard part on one slot.

    Parameters
    ----------
    part : Written
    at_tick : int
        The slot.
    struck, held, rung : int64 rows of the part
        Struck there; struck before and held over it by the finger; by the pedal only.
    after : int64 rows of the part
        Struck between this slot and the next and in no other chord.
    thin : bool
        Keep bass, top and at most two more.

    Returns
    -------
    Chord
        Without rows where nothing sounds.
    """
    left_over = [row for row in held.tolist() if _rubs(part, row, struck.tolist(), _SEMITONE)]
    sure = [*struck.tolist(), *(row for row in held.tolist() if row not in left_over)] or rung.tolist()
    if not sure:
        return Chord(at_tick, ())
    rows = _by_key(part, sure)
    extra = [row for row in rung.tolist() if row not in sure]
    if thin:
        extra += _broken(part, rows, after)
    low, high = rows[0], rows[-1]
    if thin and low == high and (top := _chord_after(part, low, after)):
        rows, high, extra, struck = [low, *top], top[-1], [], np.array(top)
    extra = [row for row in extra if _between(part, row, low, high) and not _rubs(part, row, rows)]
    return Chord(
        at_tick, tuple(_thinned(part, rows, extra, set(struck.tolist())) if thin else _settled(part, rows, extra))
    )


def _between(part: Written, row: int, low: int, high: int) -> bool:
    return bool(part.pitch[low] < part.pitch[row] < part.pitch[high])


def _rubs(part: Written, row: int, others: Iterable[int], reach: int = _CLOSE) -> bool:
    """Whether a note is, or lies within so many semitones of, one of the others."""
    return any(abs(int(part.pitch[row]) - int(part.pitch[one])) <= reach for one in others)


def _by_key(part: Written, rows: Iterable[int]) -> list[int]:
    """Rows from the lowest key to the highest, each key once (the earlier in the list stands)."""
    best: dict[int, int] = {}
    for row in rows:
        best.setdefault(int(part.pitch[row]), row)
    return [best[key] for key in sorted(best)]


def _broken(part: Written, rows: list[int], after: IntArray) -> list[int]:
    """Notes struck later to the bass of the stroke, the longest first."""
    later = _over(part, rows[0], after).tolist()
    return sorted(later, key=lambda row: int(part.at_tick[row] - part.sounding_tick[row]))


def _over(part: Written, bass: int, after: IntArray) -> IntArray:
    """Those struck while a bass note sounds, or straight after it, as the chords of a waltz without the pedal are."""
    found: IntArray = after[part.at_tick[after] <= part.sounding_tick[bass] + _STRAIGHT_TICKS]
    return found


def _chord_after(part: Written, bass: int, after: IntArray) -> list[int]:
    """The first chord of two notes or more above a single bass note."""
    sounding = _over(part, bass, after)
    for tick in np.unique(part.at_tick[sounding]).tolist():
        rows = _by_key(part, sounding[part.at_tick[sounding] == tick].tolist())
        if len(rows) > 1 and part.pitch[rows[0]] > part.pitch[bass]:
            return rows
    return []


def _thinned(part: Written, rows: list[int], extra: list[int], struck: set[int]) -> list[int]:
    """Bass, top and at most `_INNER` more: notes new to the chord first, rubs only where both were struck there."""
    kept = [rows[0]] if len(rows) == 1 else [rows[0], rows[-1]]
    for fresh in (True, False):
        for row in [*rows, *extra]:
            new = int(part.pitch[row]) % 12 not in {int(part.pitch[one]) % 12 for one in kept}
            rubs = _rubs(part, row, [one for one in kept if not {row, one} <= struck])
            if len(kept) < _INNER + 2 and row not in kept and new == fresh and not rubs:
                kept.append(row)
    return kept


def _settled(part: Written, rows: list[int], extra: list[int]) -> list[int]:
    """All that is struck or held, and of what the pedal holds whatever rubs with none of it."""
    kept = list(rows)
    for row in extra:
        if not _rubs(part, row, kept):
            kept.append(row)
    return kept


def drum_chord(part: Written, at_tick: int, struck: IntArray, *, thin: bool) -> Chord:
    """The stroke of a drum part on one slot: what is struck there.

    Parameters
    ----------
    part : Written
    at_tick : int
        The slot.
    struck : int64 rows of the part
    thin : bool
        Keep one low drum, one snare and one of the rest, the loudest of each.

    Returns
    -------
    Chord
    """
    rows = _by_key(part, struck.tolist())
    if not thin:
        return Chord(at_tick, tuple(rows))
    kept: dict[str, int] = {}
    for row in sorted(rows, key=lambda one: -int(part.velocity[one])):
        key = int(part.pitch[row])
        kept.setdefault("low" if key in _LOW_DRUMS else "snare" if key in _SNARES else "rest", row)
    return Chord(at_tick, tuple(kept.values()))
