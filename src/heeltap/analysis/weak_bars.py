"""Which bars to play again: every bar held against the rest of its own take, neighbours joined to whole musical units.

How a bar is judged (ours)
--------------------------
The mean offset of a bar is a fact of the take, not an estimate of a habit, so nothing is tested here: the question is
only whether the bar can be heard to stand out of what this player usually does. It does when it is `_UNUSUAL` robust
deviations of the take's own bar means away from the centre, and at a distance that can be heard: twice the
just-noticeable difference of the beat (Friberg & Sundberg 1995, J. Acoust. Soc. Am. 98, 2524-2531). The centre is the
lean when the route's delay is known, else the take's own median (a constant delay must not make every bar late).
Neighbours on the same side join when they are half as far out.

Inside: `BarVerdict`, `judge_bars`, `replay`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.pocket import jnd_ms
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from heeltap.model.result import Replay

__all__ = ["BarVerdict", "judge_bars", "replay"]

_UNUSUAL = 2.5
"""Robust deviations at which a bar stands out: one bar in 80 of a player whose bars scatter normally."""

_JOIN = 0.5
"""Of that distance, how much a neighbour on the same side needs to join a bar that stands out."""

_FEWEST_BARS = 8
"""Below this the take's own noise between bars is not known."""

_MOST = 5
"""Entries in the list: a player can carry five into the next take, and the worst come first."""


@dataclass(frozen=True, slots=True)
class BarVerdict:
    """One bar."""

    bar: int
    n: int
    """Strokes judged in it."""
    mean_ms: float
    """Mean offset against the centre; negative is early. nan when ``n`` is 0."""
    distance: float
    """The same as a share of the distance at which a bar of this take stands out; 0 when that cannot be told."""
    scatter_ms: float
    """Root mean square about the bar's own mean; nan below 3 strokes."""
    missed: int
    """Planned strokes that were not played."""
    verdict: str
    """``held``, ``early``, ``late``, ``scattered``, ``missing`` or ``unsure``."""


def judge_bars(
    offsets: Offsets, missed_bars: IntArray, last_bar: int, *, centre_ms: float, pocket_ms: float | None = None
) -> tuple[BarVerdict, ...]:
    """Every bar up to ``last_bar`` in which something was planned or played.

    Parameters
    ----------
    offsets : Offsets
    missed_bars : int64, shape (k,)
        Bar of each planned stroke that was not played.
    last_bar : int
    centre_ms : float
        The lean, or the take's own median when the delay is not known.
    pocket_ms : float, optional
        A bar within this distance of the centre never stands out.
    """
    if last_bar < 1:
        return ()
    size = last_bar + 1
    n = np.bincount(offsets.bar, minlength=size)[:size]
    missed = np.bincount(missed_bars, minlength=size)[:size]
    deviation = offsets.offset_ms - centre_ms
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(offsets.bar, deviation, minlength=size)[:size] / n
        square = np.bincount(offsets.bar, deviation**2, minlength=size)[:size] / n
    scatter = np.sqrt(np.maximum(square - mean**2, 0.0))
    far = _distances(mean, n)
    limit = _audible_ms(offsets) if pocket_ms is None else pocket_ms
    wild = _wild_ms(scatter, n)
    # Only bars with something in them: a file may hold a hundred thousand empty ones.
    busy = np.flatnonzero((n > 0) | (missed > 0)).tolist()
    return tuple(
        BarVerdict(
            b,
            int(n[b]),
            float(mean[b]),
            float(far[b]),
            float(scatter[b]),
            int(missed[b]),
            _verdict(n[b], missed[b], mean[b], far[b], scatter[b], wild[b], limit),
        )
        for b in busy
    )


def replay(bars: Sequence[BarVerdict], sections: Sequence[Section]) -> tuple[Replay, ...]:
    """The bars worth playing again, worst first, at most five entries.

    A run of bars that stand out becomes one entry, with the neighbours that lean the same way; the reason names the
    section change that it runs into and the bar by which the player is back.
    """
    runs = [run for run in _runs(bars) if run]
    ranked = sorted(runs, key=_badness, reverse=True)[:_MOST]
    return tuple(Replay(run[0].bar, run[-1].bar, _reason(run, bars, sections)) for run in ranked)


def _distances(mean: FloatArray, n: IntArray) -> FloatArray:
    """Distance of each bar's mean from the centre, 1 where a bar of this take stands out; 0 where it cannot be told."""
    played = np.flatnonzero(n > 0)
    far = np.zeros(mean.size)
    if played.size < _FEWEST_BARS:
        return far
    values = mean[played]
    usual = 1.4826 * np.median(np.abs(values - np.median(values)))
    scale = max(float(usual), 0.5)  # 0.5 ms: finer than any route resolves
    # A bar with fewer strokes than usual has a less certain mean.
    thin = np.sqrt(np.maximum(np.median(n[played]) / n[played], 1.0))
    far[played] = values / (_UNUSUAL * scale * thin)
    return far


def _audible_ms(offsets: Offsets) -> float:
    """Twice the just-noticeable difference of the take's beat."""
    beat = float(np.median(offsets.beat_ms)) if len(offsets) else 500.0
    return 2.0 * float(jnd_ms(beat))


def _verdict(n: int, missed: int, mean: float, far: float, scatter: float, wild_ms: float, limit_ms: float) -> str:
    """The word for one bar."""
    if missed > n:
        return "missing"
    if n == 0 or far == 0.0:
        return "unsure"
    if abs(far) >= 1.0 and abs(mean) >= limit_ms:
        return "early" if mean < 0 else "late"
    if n >= 4 and scatter >= max(limit_ms, wild_ms):
        return "scattered"
    return "held"


def _wild_ms(scatter: FloatArray, n: IntArray) -> FloatArray:
    """For each bar the scatter that one faultless take in a hundred shows in any of its bars; inf where not known."""
    from scipy.special import chdtri

    known = n >= 4
    bars = int(known.sum())
    wild = np.full(n.size, np.inf)
    if bars < _FEWEST_BARS:
        return wild
    typical = float(np.median(n[known]))
    variance = float(np.median(scatter[known])) ** 2 * typical / chdtri(typical - 1, 0.5)
    wild[known] = np.sqrt(variance * chdtri(n[known] - 1, 0.01 / bars) / n[known])
    return wild


_STANDS_OUT = ("early", "late", "scattered", "missing")


def _runs(bars: Sequence[BarVerdict]) -> list[list[BarVerdict]]:
    """Maximal runs of one verdict, grown over neighbours that lean the same way."""
    used: set[int] = set()
    runs = []
    for index, bar in enumerate(bars):
        if bar.verdict not in _STANDS_OUT or bar.bar in used:
            continue
        low, high = index, index
        while (
            low > 0 and _next(bars[low - 1], bars[low]) and _joins(bars[low - 1], bar) and bars[low - 1].bar not in used
        ):
            low -= 1
        while high + 1 < len(bars) and _next(bars[high], bars[high + 1]) and _joins(bars[high + 1], bar):
            high += 1
        run = list(bars[low : high + 1])
        used.update(one.bar for one in run)
        runs.append(run)
    return runs


def _next(before: BarVerdict, after: BarVerdict) -> bool:
    return after.bar == before.bar + 1


def _joins(neighbour: BarVerdict, bar: BarVerdict) -> bool:
    if neighbour.verdict in _STANDS_OUT:
        return neighbour.verdict == bar.verdict
    sideways = bar.verdict in ("early", "late")
    return sideways and neighbour.n > 0 and neighbour.distance * np.sign(bar.mean_ms) >= _JOIN


def _badness(run: Sequence[BarVerdict]) -> float:
    """How much a run costs: its summed distance, a missed stroke counting as 50 ms."""
    return sum(abs(bar.mean_ms) if bar.n else 0.0 for bar in run) + 50.0 * sum(bar.missed for bar in run)


def _reason(run: Sequence[BarVerdict], bars: Sequence[BarVerdict], sections: Sequence[Section]) -> str:
    """The sentence beside one entry."""
    worst = max(run, key=lambda bar: abs(bar.mean_ms) if bar.n else 0.0)
    kind = max((bar.verdict for bar in run if bar.verdict in _STANDS_OUT), key=lambda word: word != "held")
    place = _place(run, sections)
    if kind == "missing":
        return f"{place}{sum(bar.missed for bar in run)} planned strokes were not played"
    if kind == "scattered":
        return f"{place}strokes scatter by {max(bar.scatter_ms for bar in run if bar.n):.0f} ms"
    side = "early" if worst.mean_ms < 0 else "late"
    strokes = sum(bar.n for bar in run)
    average = sum(bar.mean_ms * bar.n for bar in run) / strokes
    return f"{place}{abs(average):.0f} ms {side}{_back(run, bars)}"


def _place(run: Sequence[BarVerdict], sections: Sequence[Section]) -> str:
    """ "into the chorus, " when the run reaches a section change, "in the verse, " inside one."""
    for section in sections[1:]:
        if section.name and run[0].bar < section.first_bar <= run[-1].bar + 1:
            return f"into {section.name}, "
    for section in sections:
        if section.name and section.first_bar <= run[0].bar <= section.last_bar:
            return f"in {section.name}, "
    return ""


def _back(run: Sequence[BarVerdict], bars: Sequence[BarVerdict]) -> str:
    """ ", back by bar 18" where the player returns to the centre."""
    for bar in bars:
        if bar.bar > run[-1].bar and bar.n and abs(bar.distance) < 0.25:
            return f", back by bar {bar.bar}"
    return ""
