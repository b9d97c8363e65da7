"""Whether a player improves over takes: inferences, held to one untruth in twenty comparisons.

Three things are followed from take to take: the spread, the run into changes (which jitter about a running mean hides), and
the average. Takes differ from day to day by more than their strokes tell, so each take gives one number of each, and
what takes do among themselves is the noise: a straight line is fitted over the takes in order (least squares; of the
spread its logarithm), and for the spread a bent one, too. Four questions are asked, each at 1.25 %, so that all together
stay at 5 % (Bonferroni). Takes of the same exercise with other seeds, tempi or keys can be followed: where tempi
differ, the spread is taken in shares of the pocket's half-width. Ours.

Conventions: milliseconds, negative is early; takes count from 0 in the order given.

Inside: `progress_over`, `Progress`, `Trend`, `Best`, `rush_into_changes_ms`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.pocket import beat_half_width_ms
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets

__all__ = ["Best", "Progress", "Trend", "progress_over", "rush_into_changes_ms"]

LEVEL = 0.0125
"""Of each of the four questions."""

FEWEST = 5
"""Takes below which nothing is told: a line through four leaves two to say how they differ among themselves."""

FEWEST_BENT = 8
"""Takes from which a turn for the worse can be told."""

MOST_MORE = 30
"""How many more takes are promised at most."""

_WORSE = 1.15
"""By so much the spread must have grown again since its best for that to be said."""

_POWER = 0.84
"""Standard errors beyond the threshold at which four takes in five find what is there."""


@dataclass(frozen=True, slots=True)
class Trend:
    """How one thing changes over the takes."""

    what: str
    """``spread``, ``rush`` or ``bias``."""
    first: float
    """Average of the first quarter of the takes, two at least, ms (of the spread: per cent of the half-width where tempi
    differ)."""
    last: float
    """Average of the last quarter."""
    per_take_ci95: tuple[float, float]
    """Change a take, 95 % sure: a factor for the spread, ms else."""
    told: bool
    """Whether the change is beyond what takes do among themselves."""
    more_takes: int | None
    """How many more takes would tell at this pace; None where more than 30, or where it is told."""


@dataclass(frozen=True, slots=True)
class Best:
    """A player who got tighter and looser again."""

    first: int
    """First of the takes at which the spread was least."""
    last: int
    spread: float
    """What the curve says there, in the unit of the spread's trend."""
    now: float
    """What it says at the last take."""


@dataclass(frozen=True, slots=True)
class Progress:
    """The answer to "am I improving?"."""

    takes: int
    trends: tuple[Trend, ...]
    """Empty below five takes."""
    best: Best | None
    one_tempo: bool
    """Whether the spread is in ms; else in per cent of the pocket's half-width."""
    needed: int
    """How many more takes it takes before anything can be told; 0 from five on."""


def progress_over(takes: Sequence[Offsets], *, lean_ms: float | None = 0.0) -> Progress:
    """Follow a player over takes in the order played.

    Parameters
    ----------
    takes : sequence of Offsets
    lean_ms : float, optional
        Offset aimed at; None where the delay of the route is not known: the average can then be followed all the same,
        because the same route delays every take alike.

    Returns
    -------
    Progress
    """
    usable = [take for take in takes if len(take) > 2 and float(take.offset_ms.std()) > 0.0]
    width = np.array([float(beat_half_width_ms(np.median(take.beat_ms))) for take in usable])
    beat = np.array([float(np.median(take.beat_ms)) for take in usable])
    one_tempo = bool(beat.size == 0 or np.ptp(beat) < 0.01 * beat.max())
    unit = np.ones(width.size) if one_tempo else width / 100.0
    if len(usable) < FEWEST:
        return Progress(len(takes), (), None, one_tempo, FEWEST - len(usable))
    spread = np.log(np.array([float(take.offset_ms.std(ddof=1)) for take in usable]) / unit)
    trends = [_trend("spread", spread)]
    rush = [rush_into_changes_ms(take) for take in usable]
    if all(one is not None for one in rush):
        trends.append(_trend("rush", np.array(rush, dtype=np.float64)))
    trends.append(_trend("bias", np.array([float(take.offset_ms.mean()) - (lean_ms or 0.0) for take in usable])))
    return Progress(len(takes), tuple(trends), _best(spread), one_tempo, 0)


def rush_into_changes_ms(table: Offsets) -> float | None:
    """How much the last bar before a change lies behind (minus: ahead of) the rest, ms; None without changes.

    Parameters
    ----------
    table : Offsets

    Returns
    -------
    float or None
        Milliseconds; negative is early.
    """
    before = table.bars_to_change == 1
    if min(int(before.sum()), int((~before).sum())) < 2:
        return None
    return float(table.offset_ms[before].mean() - table.offset_ms[~before].mean())


def _trend(what: str, values: FloatArray) -> Trend:
    """The line over the takes; of the spread the values are logarithms."""
    from scipy.special import stdtrit

    n = values.size
    x = np.arange(n) - (n - 1) / 2.0
    slope = float(x @ values / (x @ x))
    rest = values - values.mean() - slope * x
    noise = max(float(np.sqrt(rest @ rest / (n - 2))), 1e-9)
    error = noise / float(np.sqrt(x @ x))
    told = abs(slope) > float(stdtrit(n - 2, 1.0 - LEVEL / 2.0)) * error
    reach = float(stdtrit(n - 2, 0.975)) * error
    few = max(2, n // 4)
    ends = (float(values[:few].mean()), float(values[-few:].mean()))
    interval = (slope - reach, slope + reach)
    if what == "spread":
        ends, interval = _powers(ends), _powers(interval)
    return Trend(what, *ends, interval, told, None if told else _more(slope, noise, n))


def _powers(pair: tuple[float, float]) -> tuple[float, float]:
    """Out of the logarithm."""
    return float(np.exp(pair[0])), float(np.exp(pair[1]))


def _more(slope: float, noise: float, n: int) -> int | None:
    """How many more takes would tell this slope in four cases of five; None where more than 30."""
    from scipy.special import stdtrit

    for size in range(n + 1, n + MOST_MORE + 1):
        error = noise * float(np.sqrt(12.0 / (size * (size * size - 1.0))))
        if abs(slope) > (float(stdtrit(size - 2, 1.0 - LEVEL / 2.0)) + _POWER) * error:
            return size - n
    return None


def _best(spread: FloatArray) -> Best | None:
    """Where the logarithm of the spread was least, when it has plainly risen again since; None otherwise."""
    from scipy.special import stdtrit

    n = spread.size
    if n < FEWEST_BENT:
        return None
    x = np.arange(n) - (n - 1) / 2.0
    columns = np.stack([np.ones(n), x, x * x - (x * x).mean()], axis=1)
    found, *_ = np.linalg.lstsq(columns, spread, rcond=None)
    curve = columns @ found
    noise = float(np.sqrt(np.sum((spread - curve) ** 2) / (n - 3)))
    error = noise / float(np.sqrt(np.sum(columns[:, 2] ** 2)))
    least = int(np.argmin(curve))
    rise = float(curve[-1] - curve[least])
    bent = found[2] > float(stdtrit(n - 3, 1.0 - LEVEL / 2.0)) * error
    if not bent or not 0 < least < n - 2 or rise < np.log(_WORSE):
        return None
    near = np.flatnonzero(curve <= curve[least] + 0.2 * rise)
    return Best(int(near[0]), int(near[-1]), float(np.exp(spread[near].mean())), float(np.exp(curve[-1])))
