"""How people play, as the numbers that the aligner assumes.

All are ours: found by trying them on simulated takes with known truth and on published performances.

Inside: `Habits`, `note_rate`, `bounces`, `stray_keys`, `key_odds`, `learn` (habits of one player from a first match).
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.align.inputs import Line
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["KEYS", "TAIL_MASS", "Habits", "bounces", "key_odds", "learn", "note_rate", "stray_keys"]

KEYS = 128
"""Keys that MIDI knows."""

TAIL_MASS = 2.6046
"""Integral of exp(-cost) over residuals in sigmas, the cost being quadratic to 1.5 and linear beyond."""


@dataclass(frozen=True, slots=True)
class Habits:
    """What is likely in a take."""

    missing: float = 0.05
    """Probability that a planned note is not played."""
    wrong: float = 0.03
    """Probability that a played note falls on another key."""
    near: float = 0.7
    """Share of the wrong keys within two semitones."""
    extra: float = 0.10
    """Unplanned notes per planned one."""
    bounce: float = 0.02
    """Odds that the second of two strikes of a key within `bounce_ms` is the one that was meant."""
    bounce_ms: float = 45.0
    """Longest time from a strike to its bounce."""
    note_ms: float = 12.0
    """Scale of a note's distance from its stroke."""
    sigma_ms: float = 22.0
    """Least scale of a stroke's distance from the running offset."""
    sigma_share: float = 0.06
    """The same as a share of the gap to the next stroke."""
    sigma_most_ms: float = 100.0
    """The same at most."""
    loose: float = 0.0
    """Share of the notes that fall anywhere within `loose_reach_ms` of their stroke: ornaments, broken chords."""
    loose_reach_ms: float = 0.0
    wander_ms: float = 20.0
    """Standard deviation of a step of the running offset, a quarter of a second apart."""
    stumble: float = 0.06
    """Share of the steps that are larger: Laplace of scale `stumble_ms`."""
    stumble_ms: float = 35.0
    home_ms: float = 80.0
    """Distance from the constant delay at which the pull home acts."""
    home_nats: float = 1.5
    """The most that a stroke away from home costs."""
    lost_nats: float = 0.7
    """What a stroke costs where a player has leapt to."""
    leap: float = 0.001
    """Probability of a leap to anywhere at a stroke at home."""
    leap_away: float = 0.02
    """The same away from home."""


def note_rate(plan: Line) -> float:
    """Planned notes per millisecond."""
    span = float(plan.at_ms[-1] - plan.at_ms[0]) if len(plan) > 1 else 0.0
    return len(plan) / max(span, 1000.0)


def bounces(take: Line, habits: Habits) -> FloatArray:
    """Weight of each played note: 1, or `Habits.bounce` where the same key was struck just before."""
    weight = np.ones(len(take))
    order = np.lexsort((take.at_ms, take.pitch))
    same = np.diff(take.pitch[order]) == 0
    close = np.diff(take.at_ms[order]) <= habits.bounce_ms
    weight[order[1:][same & close]] = habits.bounce
    return weight


def stray_keys(take: Line) -> FloatArray:
    """Probability of each key for an unplanned note: the keys of the take, blurred by four semitones."""
    count = np.bincount(take.pitch, minlength=KEYS).astype(np.float64)
    blur = np.convolve(count, np.ones(9) / 9.0, mode="same") + count
    out: FloatArray = 0.9 * blur / max(blur.sum(), 1.0) + 0.1 / KEYS
    return out


def key_odds(stray: FloatArray, planned: IntArray, played: IntArray, habits: Habits) -> FloatArray:
    """How much likelier each played key is as an answer to the planned one than as an unplanned note.

    ``stray`` is that of `stray_keys`; the wrong keys that lie far from the planned one are drawn from it too.
    """
    far = np.abs(played - planned)
    odds = habits.wrong * ((1 - habits.near) + np.where(far <= 2, habits.near / 4 / stray[played], 0.0))
    odds = np.where(far == 0, (1 - habits.wrong) / stray[played], odds)
    return np.where(planned < 0, 1.0, odds)


_PRIOR_NOTES = 20.0
"""Weight of the assumed rates against those of the take, in planned notes."""

CERTAIN = 0.5
"""Rates are learnt from notes at least this certain: where strokes come as thick as they scatter, half-likely misses and
strays would add up to many that nobody made."""

NEAR_HOME_MS = 150.0
"""Offsets farther from home than this are those of a lost player, or chance."""

NOTE_MS = (8.0, 25.0)
"""Bounds of a learnt `Habits.note_ms`."""

SIGMA_MS = (10.0, 40.0)
"""Bounds of a learnt `Habits.sigma_ms`."""

SIGMA_SHARE = 0.8
"""Learnt scale as a share of the strokes' scatter: the density's tails are heavier than a normal one's. At 1 pairs of the
widest players were 0.06 % of F1 worse, at 0.6 0.05 %."""


def learn(
    plan: Line, take: Line, match: IntArray, confidence: FloatArray, habits: Habits, home_ms: float
) -> tuple[Habits, float]:
    """The habits of this player and the middle of the offsets, from a first match; little moves when there is little.

    The scale comes from each stroke against the mean of its neighbours (robustly), so slow wander is not in it.
    """
    hit = np.flatnonzero(match >= 0)
    if hit.size < 8:
        return habits, home_ms
    certain = confidence > CERTAIN
    known = certain.sum() + _PRIOR_NOTES
    missed = (certain & (match < 0)).sum() + habits.missing * _PRIOR_NOTES
    slipped = (plan.pitch >= 0) & (match >= 0) & (plan.pitch != take.pitch[match])
    wrong = (certain & slipped).sum() + habits.wrong * _PRIOR_NOTES
    played = len(plan) * (1.0 - missed / known)
    offset = take.at_ms[match[hit]] - plan.at_ms[hit]
    note_ms, sigma_ms = _scatter(plan.at_ms[hit], offset, habits)
    learnt = replace(
        habits,
        missing=float(missed / known),
        wrong=float(wrong / (known - missed)),
        extra=float((max(len(take) - played, 0.0) + habits.extra * _PRIOR_NOTES) / (len(plan) + _PRIOR_NOTES)),
        note_ms=note_ms,
        sigma_ms=sigma_ms,
    )
    near = offset[np.abs(offset - home_ms) < NEAR_HOME_MS]
    return learnt, float(np.median(near)) if near.size >= 8 else home_ms


def _scatter(at_ms: FloatArray, offset_ms: FloatArray, habits: Habits) -> tuple[float, float]:
    """Scale of notes about their stroke, and of strokes about the mean of the two beside them, ms; both robust."""
    starts = np.flatnonzero(np.diff(at_ms, prepend=-np.inf) > 0)
    apart = np.abs(np.diff(offset_ms)[np.diff(at_ms) == 0])
    note = 1.4826 * float(np.median(apart)) / 2**0.5 if apart.size >= 8 else habits.note_ms
    note = float(np.clip(note, *NOTE_MS))
    stroke = np.add.reduceat(offset_ms, starts) / np.diff(starts, append=at_ms.size)
    if stroke.size < 8:
        return note, habits.sigma_ms
    bend = stroke[1:-1] - 0.5 * (stroke[:-2] + stroke[2:])
    return note, float(np.clip(SIGMA_SHARE * 1.4826 * np.median(np.abs(bend)) / 1.5**0.5, *SIGMA_MS))
