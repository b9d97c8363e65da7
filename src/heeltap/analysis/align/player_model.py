"""The player model: the numbers that the aligner assumes about how people play.

All are ours: found by trying them on simulated takes with known truth and on published performances.

Inside: `PlayerModel`, `note_rate`, `retrigger_weights`, `loudness_odds`, `extra_key_shares`, `key_odds`, `near_home_ms`,
`estimate_player` (one player's numbers from a first match).
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.align.inputs import NoteSequence, nearest_gap_ms
from heeltap.model.arrays import FloatArray, IntArray

__all__ = [
    "KEYS",
    "SLOW_GAP_MS",
    "TAIL_MASS",
    "PlayerModel",
    "estimate_player",
    "extra_key_shares",
    "key_odds",
    "loudness_odds",
    "near_home_ms",
    "note_rate",
    "retrigger_weights",
]

KEYS = 128
"""Keys that MIDI knows."""

TAIL_MASS = 2.6046
"""Integral of exp(-cost) over residuals in sigmas, the cost being quadratic to 1.5 and linear beyond."""


@dataclass(frozen=True, slots=True)
class PlayerModel:
    """Probabilities and scales of one player."""

    missing: float = 0.05
    """Probability that a planned note is not played."""
    wrong: float = 0.03
    """Probability that a played note falls on another key."""
    near: float = 0.7
    """Share of the wrong keys within two semitones."""
    octave: float = 0.1
    """Share of the wrong keys that are the planned one an octave or two away: another voicing, not a slip."""
    extra: float = 0.10
    """Unplanned notes per planned one."""
    retrigger: float = 0.02
    """Odds that the second of two strikes of a key within `retrigger_ms` is the one that was meant."""
    retrigger_ms: float = 45.0
    """Longest time from a strike to its retrigger."""
    note_ms: float = 12.0
    """Scale of a note's distance from its stroke."""
    sigma_ms: float = 22.0
    """Least scale of a stroke's distance from the running offset."""
    sigma_share: float = 0.06
    """The same as a share of the gap to the next stroke."""
    sigma_most_ms: float = 100.0
    """The same at most, where another stroke is near on either side."""
    sigma_slow_ms: float = 250.0
    """The same at most at slow pulses."""
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


def note_rate(plan: NoteSequence) -> float:
    """Planned notes per millisecond.

    Parameters
    ----------
    plan : NoteSequence
        The part.

    Returns
    -------
    float
        Notes a millisecond.
    """
    span = float(plan.at_ms[-1] - plan.at_ms[0]) if len(plan) > 1 else 0.0
    return len(plan) / max(span, 1000.0)


def retrigger_weights(take: NoteSequence, player: PlayerModel) -> FloatArray:
    """Weight of each played note: 1, or `PlayerModel.retrigger` where the same key was struck just before.

    Parameters
    ----------
    take : NoteSequence
        The take.
    player : PlayerModel
        Odds and reach of a retrigger.

    Returns
    -------
    float64, shape (m,)
        0-1.
    """
    weight = np.ones(len(take))
    order = np.lexsort((take.at_ms, take.pitch))
    same = np.diff(take.pitch[order]) == 0
    close = np.diff(take.at_ms[order]) <= player.retrigger_ms
    weight[order[1:][same & close]] = player.retrigger
    return weight


_LEAST_SPREAD = 10.0
"""Least spread of the loudness of planned notes, MIDI units: touch never tells more than that."""

_ANY_LOUDNESS = 0.3
"""Share of the planned notes whose loudness says nothing: ghost notes, accents."""


def loudness_odds(take: NoteSequence) -> FloatArray:
    """Weight of each played note by its loudness: about 1 for the usual one, less for one much softer.

    Planned notes lie about the take's own middle, or anywhere; unplanned ones anywhere, the softer the likelier.

    Parameters
    ----------
    take : NoteSequence
        The take.

    Returns
    -------
    float64, shape (m,)
        Likelihood ratios, 1 at the median; all 1 where the loudness is not known.

    Notes
    -----
    Ours.
    """
    if take.velocity is None or len(take) == 0:
        return np.ones(len(take))
    middle = float(np.median(take.velocity))
    spread = max(1.4826 * float(np.median(np.abs(take.velocity - middle))), _LEAST_SPREAD)

    def odds(velocity: FloatArray) -> FloatArray:
        usual = np.exp(-0.5 * ((velocity - middle) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        planned = (1 - _ANY_LOUDNESS) * usual + _ANY_LOUDNESS / 127.0
        out: FloatArray = planned / (0.5 / 127.0 + (127.0 - velocity) / 127.0**2)
        return out

    return np.minimum(odds(take.velocity.astype(np.float64)) / odds(np.array([middle])), 1.0)


def extra_key_shares(take: NoteSequence) -> FloatArray:
    """Probability of each key for an unplanned note: the keys of the take, blurred by four semitones.

    Parameters
    ----------
    take : NoteSequence
        The take.

    Returns
    -------
    float64, shape (128,)
        Sums to 1.
    """
    count = np.bincount(take.pitch, minlength=KEYS).astype(np.float64)
    blur = np.convolve(count, np.ones(9) / 9.0, mode="same") + count
    out: FloatArray = 0.9 * blur / max(blur.sum(), 1.0) + 0.1 / KEYS
    return out


def key_odds(key_share: FloatArray, planned: IntArray, played: IntArray, player: PlayerModel) -> FloatArray:
    """How much likelier each played key is as an answer to the planned one than as an unplanned note.

    ``key_share`` is that of `extra_key_shares`; the wrong keys that lie far from the planned one are drawn from it too.

    Parameters
    ----------
    key_share : float64, shape (128,)
        Of `extra_key_shares`.
    planned, played : int64, shape (pairs,)
        Keys; -1 in the plan accepts any.
    player : PlayerModel
        Rates of wrong keys.

    Returns
    -------
    float64, shape (pairs,)
        Likelihood ratios.
    """
    far = np.abs(played - planned)
    odds = 1 - player.near - player.octave + np.where(far <= 2, player.near / 4 / key_share[played], 0.0)
    odds = player.wrong * (odds + np.where((far == 12) | (far == 24), player.octave / 4 / key_share[played], 0.0))
    odds = np.where(far == 0, (1 - player.wrong) / key_share[played], odds)
    return np.where(planned < 0, 1.0, odds)


_PRIOR_NOTES = 20.0
"""Weight of the assumed rates against those of the take, in planned notes."""

CERTAIN = 0.5
"""Rates are learnt from notes at least this certain: where strokes come as thick as they scatter, half-likely misses and
strays would add up to many that nobody made."""

SLOW_GAP_MS = 450.0
"""From this distance to the nearest other stroke a stroke may stray: nothing else is there that it could have been meant for."""

_NEAR_HOME_MS, _NEAR_HOME_SHARE, _NEAR_HOME_MOST_MS = 150.0, 0.4, 1200.0
"""Offsets farther from home than this, or this share of the gap, are those of a lost player, or chance."""


def near_home_ms(plan: NoteSequence, first: IntArray) -> FloatArray:
    """How far from home each planned note may be answered by a player who is not lost, in milliseconds.

    Parameters
    ----------
    plan : NoteSequence
        The part.
    first : int64, shape (strokes,)
        First note of each stroke.

    Returns
    -------
    float64, shape (n,)
        Milliseconds, growing with the distance to the nearest other stroke.
    """
    near = np.clip(_NEAR_HOME_SHARE * nearest_gap_ms(plan, first), _NEAR_HOME_MS, _NEAR_HOME_MOST_MS)
    return np.repeat(near, np.diff(first, append=len(plan)))


NOTE_MS = (8.0, 25.0)
"""Bounds of a learnt `PlayerModel.note_ms`."""

SIGMA_MS = (10.0, 40.0)
"""Bounds of a learnt `PlayerModel.sigma_ms`."""

SIGMA_SHARE = 0.8
"""Learnt scale as a share of the strokes' scatter: the density's tails are heavier than a normal one's. At 1 pairs of the
widest players were 0.06 % of F1 worse, at 0.6 0.05 %."""


def estimate_player(
    plan: NoteSequence,
    take: NoteSequence,
    match: IntArray,
    confidence: FloatArray,
    player: PlayerModel,
    home_ms: float,
    near_ms: FloatArray,
) -> tuple[PlayerModel, float]:
    """The model of this player, and the median offset in ms, from a first match; a short take changes little.

    The scale comes from each stroke against the mean of its neighbours (robustly), so slow wander is not in it.

    Parameters
    ----------
    plan, take : NoteSequence
        Both sides in time order.
    match, confidence : shape (n,)
        A first match and its probabilities.
    player : PlayerModel
        What was assumed.
    home_ms : float
        The usual offset so far, ms.
    near_ms : float64, shape (n,)
        How far from it a note counts for the median, ms.

    Returns
    -------
    PlayerModel
        Rates and scales, drawn to what was assumed.
    float
        Median offset of the matches near home, ms.

    Notes
    -----
    Ours; `_PRIOR_NOTES` sets how much the assumption weighs.
    """
    hit = np.flatnonzero(match >= 0)
    if hit.size < 8:
        return player, home_ms
    certain = confidence > CERTAIN
    known = certain.sum() + _PRIOR_NOTES
    missed = (certain & (match < 0)).sum() + player.missing * _PRIOR_NOTES
    slipped = (plan.pitch >= 0) & (match >= 0) & (plan.pitch != take.pitch[match])
    wrong = (certain & slipped).sum() + player.wrong * _PRIOR_NOTES
    played = len(plan) * (1.0 - missed / known)
    offset = take.at_ms[match[hit]] - plan.at_ms[hit]
    note_ms, sigma_ms = _scatter(plan.at_ms[hit], offset, player)
    learnt = replace(
        player,
        missing=float(missed / known),
        wrong=float(wrong / (known - missed)),
        extra=float((max(len(take) - played, 0.0) + player.extra * _PRIOR_NOTES) / (len(plan) + _PRIOR_NOTES)),
        note_ms=note_ms,
        sigma_ms=sigma_ms,
    )
    near = offset[np.abs(offset - home_ms) < near_ms[hit]]
    return learnt, float(np.median(near)) if near.size >= 8 else home_ms


def _scatter(at_ms: FloatArray, offset_ms: FloatArray, player: PlayerModel) -> tuple[float, float]:
    """Scale of notes about their stroke, and of strokes about the mean of the two beside them, ms; both robust."""
    starts = np.flatnonzero(np.diff(at_ms, prepend=-np.inf) > 0)
    apart = np.abs(np.diff(offset_ms)[np.diff(at_ms) == 0])
    note = 1.4826 * float(np.median(apart)) / 2**0.5 if apart.size >= 8 else player.note_ms
    note = float(np.clip(note, *NOTE_MS))
    stroke = np.add.reduceat(offset_ms, starts) / np.diff(starts, append=at_ms.size)
    if stroke.size < 8:
        return note, player.sigma_ms
    bend = stroke[1:-1] - 0.5 * (stroke[:-2] + stroke[2:])
    return note, float(np.clip(SIGMA_SHARE * 1.4826 * np.median(np.abs(bend)) / 1.5**0.5, *SIGMA_MS))
