"""Which bars to play again: windows of one to three bars that lie as far off as is heard.

Where a bar lies is a fact of the recording, not an estimate of a habit, so nothing is tested here and nothing hides a
bar: not the take's other faults, nor that this player rushes everywhere. What is *heard* is 20 ms against drums at any
tempo (19 to 24 ms for drums in a groove, preprint doi 10.31234/osf.io/jsg94_v3), and against a click that or 5 % of
the beat, whichever is less: twice the just-noticeable difference (Friberg & Sundberg 1995, J. Acoust. Soc. Am. 98,
2524-2531), because a bare click hides less. Strokes are held against the lean, or against the take's own median where
the delay of the route is not known.

A window counts when the average of its strokes lies so far off and each of its bars leans the same way, at least half as
far. Where a section begins, the half bar before it, the half bar after and both together are windows, too: people who
run into a change run most there, and a whole bar's average hides it. Behind the list stand the bars that lie nearly as
far off: a player's own wander hides a part of a rush in one bar in ten, and whoever plays the listed bars again wants
to know where else to listen. Ours.

Conventions: milliseconds, negative is early; bars count from 1.

Inside: `heard_ms`, `weak_bars`, `WeakBars`, `with_commands`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from heeltap.model.result import MoreBars, Replay

__all__ = ["WeakBars", "heard_ms", "weak_bars", "with_commands"]

HEARD_MS, HEARD_SHARE = 20.0, 0.05
"""What is heard against drums, and the share of the beat that is heard against a click."""

LONGEST = 3
"""Bars in a window: more is a section, not a place to play again."""

MOST = 6
"""Entries in the list: more nobody carries into the next take."""

NEAR = 0.6
"""Of what is heard: from here on a bar is worth a mention behind the list."""

_LEANS = 0.5
"""Of what is heard: so far each bar of a longer window has to lie off, on the same side; nearer a player is back."""

_THROWN = 1.5
"""Of what is heard: the root mean square about a bar's own average from which its strokes are uneven, and what a single
stroke alone in its bar has to lie off."""

_MISSED_MS = 50.0
"""What a bar of missed strokes weighs in the order of the list."""


@dataclass(frozen=True, slots=True)
class WeakBars:
    """What is worth playing again."""

    entries: tuple[Replay, ...]
    """Worst first, at most six."""
    more: MoreBars | None
    """Where there are more; None where these are all."""


@dataclass(frozen=True, slots=True, eq=False)
class _Bars:
    """One row a bar, the first of them bar 1."""

    n: IntArray
    missed: IntArray
    mean_ms: FloatArray
    """Average offset from the centre; 0 where nothing was judged."""
    spread_ms: FloatArray
    """Root mean square about the bar's own average."""
    heard_ms: FloatArray


@dataclass(frozen=True, slots=True)
class _Window:
    """A candidate for the list."""

    first: int
    """Row in `_Bars`."""
    last: int
    weight: float
    """How bad it is: the average times the root of the number of bars."""
    kind: str
    """``off``, ``before``, ``after`` or ``around`` a change, ``uneven`` or ``missing``."""
    mean_ms: float = 0.0
    """Average of the strokes at a change."""
    n: int = 0
    """Strokes at a change."""


def heard_ms(beat_ms: npt.ArrayLike, *, against_drums: bool = False) -> FloatArray:
    """What is heard as off, ms: 20 against drums, against a click 5 % of the beat where that is less.

    >>> heard_ms([600.0, 300.0]).tolist(), heard_ms([300.0], against_drums=True).tolist()
    ([20.0, 15.0], [20.0])

    Parameters
    ----------
    beat_ms : float, any shape
    against_drums : bool
        Whether drums sound, not a click alone.

    Returns
    -------
    float64, the same shape
    """
    beat = np.asarray(beat_ms, dtype=np.float64)
    return np.full(beat.shape, HEARD_MS) if against_drums else np.minimum(HEARD_MS, HEARD_SHARE * beat)


def weak_bars(
    offsets: Offsets,
    missed_bars: IntArray,
    *,
    centre_ms: float,
    against_drums: bool = False,
    pocket_ms: float | None = None,
    delay_uncertainty_ms: float = 0.0,
) -> WeakBars:
    """The bars worth playing again.

    Parameters
    ----------
    offsets : Offsets
    missed_bars : int64, shape (k,)
        Bar of each planned stroke that was not played.
    centre_ms : float
        The lean, or the take's own median when the delay is not known.
    against_drums : bool
        Whether drums are the reference, and not a click.
    pocket_ms : float, optional
        The user's own half-width in place of what is heard.
    delay_uncertainty_ms : float
        95 % half-width of the delay: what lies nearer to the centre may be the gear's.

    Returns
    -------
    WeakBars
    """
    bars = _bars(offsets, missed_bars, centre_ms, against_drums, pocket_ms, delay_uncertainty_ms)
    if bars.n.size == 0:
        return WeakBars((), None)
    changes = sorted(_changes(offsets, bars, centre_ms), key=lambda window: -window.weight)
    found = [*_windows(bars), *(one for one in changes if abs(one.mean_ms) >= bars.heard_ms[one.last])]
    chosen = _chosen(sorted(found, key=lambda window: -window.weight))
    entries = tuple(_entry(bars, window, offsets.sections) for window in chosen[:MOST])
    return WeakBars(entries, _more(bars, chosen[:MOST], chosen[MOST:], changes) if entries else None)


def _bars(
    offsets: Offsets,
    missed_bars: IntArray,
    centre_ms: float,
    against_drums: bool,
    pocket_ms: float | None,
    uncertainty_ms: float,
) -> _Bars:
    """The table of bars up to the last one in which something was planned or played; what lies before bar 1 is in none."""
    last = max(int(offsets.bar.max(initial=0)), int(missed_bars.max(initial=0)))
    inside = offsets.bar >= 1
    at, off = offsets.bar[inside] - 1, offsets.offset_ms[inside] - centre_ms
    n = np.bincount(at, minlength=last)
    some = np.maximum(n, 1)
    mean = np.bincount(at, off, minlength=last) / some
    square = np.bincount(at, off * off, minlength=last) / some
    limit = (
        np.full(off.size, pocket_ms) if pocket_ms else heard_ms(offsets.beat_ms[inside], against_drums=against_drums)
    )
    heard = np.bincount(at, np.maximum(limit, uncertainty_ms), minlength=last) / some
    missed = np.bincount(missed_bars[missed_bars >= 1] - 1, minlength=last)
    return _Bars(n, missed, mean, np.sqrt(np.maximum(square - mean * mean, 0.0)), heard)


def _windows(bars: _Bars) -> Iterator[_Window]:
    """Every window that counts."""
    yield from _off(bars)
    for row in np.flatnonzero((bars.n >= 4) & (bars.spread_ms >= _THROWN * bars.heard_ms)).tolist():
        yield _Window(row, row, float(bars.spread_ms[row]), "uneven")
    missing = (bars.missed > bars.n).astype(np.int64)
    for length in range(1, min(LONGEST, bars.n.size) + 1):
        for row in np.flatnonzero(_sums(missing, length) == length).tolist():
            yield _Window(row, row + length - 1, _MISSED_MS * length**0.5, "missing")


def _changes(offsets: Offsets, bars: _Bars, centre_ms: float) -> Iterator[_Window]:
    """For each section but the first the half bars beside its beginning, where they lie nearly as far off as is heard."""
    for section in offsets.sections[1:]:
        row = section.first_bar - 1
        last, first = (offsets.offset_ms[offsets.bar == bar] - centre_ms for bar in (row, row + 1))
        if min(last.size, first.size) == 0:
            continue
        before, after = last[last.size // 2 :], first[: (first.size + 1) // 2]
        halves = {"before": (before, row - 1, row - 1), "after": (after, row, row)}
        halves["around"] = (np.concatenate([before, after]), row - 1, row)
        for kind, (off, low, high) in halves.items():
            mean = float(off.mean())
            if off.size >= 2 and abs(mean) >= NEAR * bars.heard_ms[high]:
                weight = abs(mean) * (1.0 if kind == "around" else 0.5**0.5)
                yield _Window(low, high, weight, kind, mean, off.size)


def _off(bars: _Bars) -> Iterator[_Window]:
    """Windows whose average is heard as off."""
    side = np.where(bars.n > 0, np.sign(bars.mean_ms), 0.0)
    leans = (np.abs(bars.mean_ms) >= _LEANS * bars.heard_ms) & (side != 0)
    for length in range(1, LONGEST + 1):
        size = bars.n.size - length + 1
        if size < 1:
            return
        n = _sums(bars.n, length)
        mean = _sums(bars.n * bars.mean_ms, length) / np.maximum(n, 1)
        heard = _sums(bars.heard_ms, length) / length
        alike = (np.abs(_sums(side, length)) == length) & (_sums(leans.astype(np.int64), length) == length)
        enough = heard if length > 1 else np.where(n == 1, _THROWN, 1.0) * heard
        for row in np.flatnonzero(alike & (np.abs(mean) >= enough)).tolist():
            yield _Window(row, row + length - 1, float(abs(mean[row]) * np.sqrt(length)), "off")


def _sums(values: npt.NDArray[np.generic], length: int) -> FloatArray:
    """Sum of each window of so many values."""
    total = np.concatenate([[0.0], np.cumsum(values.astype(np.float64))])
    return np.asarray(total[length:] - total[:-length])


def _chosen(windows: Sequence[_Window]) -> list[_Window]:
    """The worst windows that share no bar, worst first."""
    taken: set[int] = set()
    found = []
    for window in windows:
        rows = set(range(window.first, window.last + 1))
        if not rows & taken:
            taken |= rows
            found.append(window)
    return found


def _more(
    bars: _Bars, listed: Sequence[_Window], rest: Sequence[_Window], changes: Sequence[_Window]
) -> MoreBars | None:
    """The bars behind the list: those of the other windows, and those that lie nearly as far off as is heard."""
    said = _rows_of(listed, bars.n.size)
    off = np.where(bars.n >= 2, np.abs(bars.mean_ms), 0.0)
    rows = (_rows_of(rest, bars.n.size) | (off >= NEAR * bars.heard_ms)) & ~said
    for window in changes:
        span = slice(window.first, window.last + 1)
        if not (said[span] | rows[span]).any():
            rows[span], off[span] = True, abs(window.mean_ms)
    if not rows.any():
        return None
    far = off[rows & (off > 0.0)]
    between = (round(float(far.min()), 1), round(float(far.max()), 1)) if far.size else None
    return MoreBars(tuple((np.flatnonzero(rows) + 1).tolist()), between)


def _rows_of(windows: Sequence[_Window], size: int) -> BoolArray:
    """Flags of the rows that windows cover."""
    flags = np.zeros(size, dtype=np.bool_)
    for window in windows:
        flags[window.first : window.last + 1] = True
    return flags


def _entry(bars: _Bars, window: _Window, sections: Sequence[Section]) -> Replay:
    """One line of the list."""
    rows = slice(window.first, window.last + 1)
    n = int(bars.n[rows].sum())
    average = float(np.dot(bars.n[rows], bars.mean_ms[rows]) / n) if n else None
    if window.kind in _AT_CHANGE:
        n, average = window.n, window.mean_ms
    why = _place(window, sections) + _reason(bars, window, average or 0.0)
    return Replay(
        window.first + 1, window.last + 1, why, offset_ms=None if average is None else round(average, 3), strokes=n
    )


def _reason(bars: _Bars, window: _Window, average: float) -> str:
    """What is wrong there, in milliseconds."""
    if window.kind == "missing":
        missed = int(bars.missed[window.first : window.last + 1].sum())
        return f"you missed {missed} planned {'note' if missed == 1 else 'notes'}"
    if window.kind == "uneven":
        return f"your strokes spread by {bars.spread_ms[window.first]:.0f} ms"
    side = "early" if average < 0 else "late"
    return f"{abs(average):.0f} ms {side}{_AT_CHANGE.get(window.kind, '')}{_back(bars, window)}"


_AT_CHANGE = {
    "before": " in the half bar before it",
    "after": " in its first half bar",
    "around": " from half a bar before to half a bar after",
}
"""What the windows at a change are called."""


def _place(window: _Window, sections: Sequence[Section]) -> str:
    """ "into chorus, " when the bars reach a section change, "in verse, " inside one."""
    first, last = window.first + 1, window.last + 1
    for section in sections[1:]:
        if section.name and first < section.first_bar <= last + 1:
            return f"into {section.name}, "
    for section in sections:
        if section.name and section.first_bar <= first <= section.last_bar:
            return f"in {section.name}, "
    return ""


def _back(bars: _Bars, window: _Window) -> str:
    """ ", back by bar 18" where the player returns to the centre."""
    after = slice(window.last + 1, None)
    home = (bars.n[after] > 0) & (np.abs(bars.mean_ms[after]) < _LEANS * bars.heard_ms[after])
    return f", back by bar {window.last + 2 + int(np.argmax(home))}" if home.any() else ""


def with_commands(entries: Sequence[Replay], drill: str) -> tuple[Replay, ...]:
    """The entries with the command that plays just their bars.

    Parameters
    ----------
    entries : sequence of Replay
    drill : str
        What `heeltap drill` takes, or empty.

    Returns
    -------
    tuple of Replay
    """
    if not drill:
        return tuple(entries)
    return tuple(replace(entry, command=f"heeltap drill {drill} --bars {_span(entry)}") for entry in entries)


def _span(entry: Replay) -> str:
    """ "14-16", or "14" for one bar."""
    one = entry.first_bar == entry.last_bar
    return f"{entry.first_bar}" if one else f"{entry.first_bar}-{entry.last_bar}"
