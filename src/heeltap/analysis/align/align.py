"""Which played note answers which planned one: to a click, and at free tempo.

Conventions: an *offset* is played minus planned, **negative is early**; matching never changes a time. Times are whole
microseconds; floating numbers are refused, because their unit would have to be guessed. Input in any order; results are
in the caller's order. Pitch -1 in the plan accepts any key.

How it works: the player's running offset is a hidden state on a 10 ms grid that wanders from stroke to stroke, is
drawn home to the take's constant delay and may leap (a beat late, a bar dropped, the beat turned round).
Forward-backward passes give the posterior of the offset at every stroke, that gives the odds of every pair, and
message passing turns the odds into probabilities under one-to-one matching. Time and memory grow linearly.

Inside: `Match`, `align`, `align_free`.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from heeltap.analysis.align.assignment import Groups, choose_pairs, pair_marginals
from heeltap.analysis.align.delay_candidates import DELAY_MS, OffsetPrior, delay_candidates
from heeltap.analysis.align.emissions import STEP_MS, OffsetRange
from heeltap.analysis.align.free_tempo import best_path, broken_times, read_strokes, stroke_times
from heeltap.analysis.align.inputs import NoteSequence, as_numbers, in_ms, nearest_gap_ms, read_notes, strokes_of
from heeltap.analysis.align.leaps import find_leaps
from heeltap.analysis.align.player_model import PlayerModel, estimate_player, near_home_ms
from heeltap.analysis.align.posterior import home_log_likelihood, make_offset_model, pair_odds
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, freeze_columns
from heeltap.model.plan import ANY_PITCH

__all__ = ["Match", "align", "align_free"]

_SURE = 0.9975
"""Certainty of the delay from which it is called known: 12 nats ahead of the next. A note missed at one end and one too many
at the other are worth up to 10, and nothing else tells equal strokes on one key from themselves shifted by one."""

_AT_HOME = 0.7
"""Share of the matches that must sit near the delay for it to be known: a player who was elsewhere half of the time leaves
open which half was right."""

_HALF_NATS = 2.0
"""Evidence is halved before it becomes a certainty: of 31 simulated takes whose best delay led by under 4 nats 5 had slipped,
of the next 349 none."""


_LEAN_SD_MS = 35.0
"""Standard deviation of players' own mean offsets, where the delay is calibrated."""

_HALF_MS = (200.0, 1500.0)
"""Least and greatest half-width of the running offsets around home."""

_APART_MS = 45.0
"""Middles nearer to each other than this are the same one: sixteenths at 300 bpm are 50 ms apart."""

STEADY_PLAYER = PlayerModel(leap=1e-5, leap_away=1e-5, stumble=0.01, wander_ms=10.0)
"""For weighing delays against each other: a player who could leap might start on any of them and change over."""

FREE_TEMPO_PLAYER = PlayerModel(loose=0.03, loose_reach_ms=300.0)
"""At free tempo the plan's times are themselves estimates: strokes stray farther from them."""

FREE_TEMPO_PRIOR = OffsetPrior(0.0, half_ms=300)
"""Offsets from those times that are looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """Which played note answers which planned one; everything is in the caller's order."""

    match: IntArray
    """Per planned note: index of the played note, or -1 for a miss. A note on a wrong key still answers."""
    confidence: FloatArray
    """Per planned note: probability that the pair, or the miss, is right."""
    wrong_pitch: BoolArray
    """Per planned note: it was answered on another key."""
    extra: IntArray
    """Played notes that answer nothing, increasing."""
    delay_ms: float
    """Constant delay: as given, or the estimate (the player's own mean offset is part of it)."""
    delay_sd_ms: float
    """Standard error of the estimate; 0 when given, inf when there was nothing to estimate it from."""
    delay_known: bool
    """False where the take would fit as well shifted by a stroke, or where there is too little of it."""

    def __post_init__(self) -> None:
        """Make the columns read-only; raise `ValueError` when they differ in length."""
        freeze_columns(self, ("match", "confidence", "wrong_pitch"))
        freeze_columns(self, ("extra",))


def align(
    plan_us: npt.ArrayLike,
    plan_pitch: npt.ArrayLike,
    take_us: npt.ArrayLike,
    take_pitch: npt.ArrayLike,
    take_velocity: npt.ArrayLike | None = None,
    delay_ms: float | None = None,
    *,
    plan_stroke: npt.ArrayLike | None = None,
) -> Match:
    """The match of a take to a plan that share a clock, up to the constant ``delay_ms`` of the gear.

    Parameters
    ----------
    plan_us, plan_pitch : array_like of int, shape (n,)
        Planned times in microseconds, and keys; -1 accepts any key.
    take_us, take_pitch : array_like of int, shape (m,)
        Played times in microseconds, and keys.
    take_velocity : array_like of int, shape (m,), optional
        Loudness, 1-127: a much softer note beside a hit is rather a brushed key than the hit.
    delay_ms : float, optional
        The calibrated delay, ms. Without it any delay from -100 to 330 ms is equally likely beforehand.
    plan_stroke : array_like, shape (n,), optional
        Equal numbers for notes meant to sound together; otherwise notes within 12 ms of each other are.

    Returns
    -------
    Match

    Raises
    ------
    ValueError
        For columns of unequal length, times that are not whole microseconds, keys outside -1..127.

    Notes
    -----
    Ours; how it works stands at the top of this module.
    """
    plan = read_notes(in_ms(plan_us, "plan_us"), plan_pitch, "plan", lowest=ANY_PITCH)
    take = read_notes(in_ms(take_us, "take_us"), take_pitch, "take")
    if take_velocity is not None:
        velocity = np.asarray(take_velocity)
        if velocity.shape != take.at_ms.shape:
            raise ValueError(f"take: {velocity.size} velocities for {len(take)} times; expected as many")
        take = replace(take, velocity=velocity.astype(np.int64)[take.order])
    if delay_ms is not None and not np.isfinite(delay_ms):
        raise ValueError(f"delay_ms: {delay_ms}; expected a number of milliseconds, or None where it is not known")
    first = strokes_of(plan, plan_stroke)
    if len(plan) == 0 or len(take) == 0:
        return _nothing(plan, take, delay_ms)
    player = PlayerModel()
    near_ms, reach_ms = near_home_ms(plan, first), _reach_ms(plan, first)
    half_ms = _half_ms(plan, first)
    home, sure = _find_home(plan, take, first, delay_ms, half_ms)
    match, confidence = _pass(plan, take, first, player, OffsetPrior(home, (), half_ms, reach_ms))
    # An octave counts as the key: a chord in another octave or voicing is that chord, not a sign of being lost.
    clean = (match >= 0) & (((plan.pitch - take.pitch[match]) % 12 == 0) | (plan.pitch < 0))
    clean &= np.abs(take.at_ms[match] - plan.at_ms - home) < near_ms
    leaps = find_leaps(plan, take, home, clean, match)
    if leaps:
        match, confidence = _pass(plan, take, first, player, OffsetPrior(home, leaps, half_ms, reach_ms))
    player, middle = estimate_player(plan, take, match, confidence, player, home, near_ms)
    match, confidence = _pass(plan, take, first, player, OffsetPrior(middle, leaps, half_ms, reach_ms))
    return _result(plan, take, match, sure * confidence, middle, delay_ms, sure >= _SURE, near_ms)


def _half_ms(plan: NoteSequence, first: IntArray) -> int:
    """Half-width of the offsets that are looked at around home: as far as half a gap in the slower strokes of the part."""
    gap_ms = float(np.quantile(nearest_gap_ms(plan, first), 0.9))
    return STEP_MS * round(float(np.clip(0.6 * gap_ms, *_HALF_MS)) / STEP_MS)


def _reach_ms(plan: NoteSequence, first: IntArray) -> FloatArray:
    """How far from home each planned note may be answered: as far as half the gap to the nearer stroke beside it."""
    reach = np.maximum(0.6 * nearest_gap_ms(plan, first), _HALF_MS[0] + 50.0)
    return np.repeat(reach, np.diff(first, append=len(plan)))


def _find_home(
    plan: NoteSequence, take: NoteSequence, first: IntArray, delay_ms: float | None, half_ms: int
) -> tuple[float, float]:
    """The middle of the offsets that explains the take best, ms, and how certain it is that no other does."""
    homes = np.array(delay_candidates(plan, take, DELAY_MS if delay_ms is None else (delay_ms, delay_ms)))
    if homes.size == 1:
        return float(homes[0]), 1.0
    low = STEP_MS * round((homes.min() - half_ms + 50) / STEP_MS)
    wide = OffsetRange(low, round((homes.max() + half_ms - 50 - low) / STEP_MS) + 1)
    model = make_offset_model(plan, take, first, STEADY_PLAYER, (wide,))
    gains = np.array([home_log_likelihood(model, OffsetPrior(home)) for home in homes.tolist()])
    if delay_ms is not None:
        gains -= 0.5 * ((homes - delay_ms) / _LEAN_SD_MS) ** 2
    best = int(np.argmax(gains))
    rivals = gains[np.abs(homes - homes[best]) > _APART_MS]
    if rivals.size == 0:
        return float(homes[best]), 1.0
    return float(homes[best]), float(1.0 / (1.0 + np.exp((rivals.max() - gains[best]) / _HALF_NATS)))


def _pass(
    plan: NoteSequence, take: NoteSequence, first: IntArray, player: PlayerModel, prior: OffsetPrior
) -> tuple[IntArray, FloatArray]:
    """Match and confidence, in time order."""
    odds = pair_odds(make_offset_model(plan, take, first, player, prior.ranges()), prior)
    marginals = pair_marginals(odds, len(plan), len(take))
    equal = np.cumsum((np.diff(plan.at_ms, prepend=np.nan) != 0) | (np.diff(plan.pitch, prepend=-2) != 0)) - 1
    stroke = np.repeat(np.arange(first.size), np.diff(first, append=len(plan)))
    return choose_pairs(odds, marginals, Groups(equal, stroke, plan.pitch, take.pitch), len(take))


def _nothing(plan: NoteSequence, take: NoteSequence, delay_ms: float | None) -> Match:
    """The result when one side is empty."""
    count = len(plan)
    known = delay_ms is not None
    return Match(
        np.full(count, -1, np.int64),
        np.ones(count),
        np.zeros(count, bool),
        np.arange(len(take), dtype=np.int64),
        float(delay_ms) if delay_ms is not None else 0.0,
        0.0 if known else float("inf"),
        known,
    )


def _result(
    plan: NoteSequence,
    take: NoteSequence,
    match: IntArray,
    confidence: FloatArray,
    home: float,
    delay_ms: float | None,
    sure: bool,
    near_ms: FloatArray,
) -> Match:
    """The match in the caller's order, with the delay."""
    hit = match >= 0
    out_match, out_confidence = np.full(len(plan), -1, np.int64), np.empty(len(plan))
    out_match[plan.order[hit]] = take.order[match[hit]]
    out_confidence[plan.order] = confidence
    wrong = np.zeros(len(plan), bool)
    wrong[plan.order] = hit & (plan.pitch >= 0) & (plan.pitch != take.pitch[match])
    spare = np.ones(len(take), bool)
    spare[out_match[out_match >= 0]] = False
    offset = take.at_ms[match[hit]] - plan.at_ms[hit]
    near = np.abs(offset - home) < near_ms[hit]
    delay, error = _delay(offset[near])
    known = sure and bool(np.isfinite(error)) and int(near.sum()) > _AT_HOME * offset.size
    if delay_ms is not None:
        delay, error, known = float(delay_ms), 0.0, True
    return Match(out_match, out_confidence, wrong, np.flatnonzero(spare), delay, error, known)


def _delay(offset_ms: FloatArray) -> tuple[float, float]:
    """Median of the offsets and its standard error, from the medians of eight stretches so that slow wander counts."""
    if offset_ms.size < 4:
        return (float(np.median(offset_ms)) if offset_ms.size else 0.0), float("inf")
    parts = min(8, offset_ms.size // 2)
    medians = np.array([np.median(part) for part in np.array_split(offset_ms, parts)])
    return float(np.median(offset_ms)), float(np.std(medians, ddof=1) / np.sqrt(parts))


def align_free(
    plan_beats: npt.ArrayLike,
    plan_pitch: npt.ArrayLike,
    take_us: npt.ArrayLike,
    take_pitch: npt.ArrayLike,
) -> Match:
    """The match of a take at free tempo, without a click, to a part in beats.

    Parameters
    ----------
    plan_beats, plan_pitch : array_like, shape (n,)
        Planned positions in beats (or any unit of score time: quarters, ticks) and keys; -1 accepts any key.
    take_us, take_pitch : array_like of int, shape (m,)
        Played times in microseconds, and keys.

    Returns
    -------
    Match
        There is no constant delay without a click: ``delay_ms`` is 0, ``delay_sd_ms`` inf, ``delay_known`` False.

    Raises
    ------
    ValueError
        As `align` does.

    Notes
    -----
    Ours. A search for the best path through the strokes, every path with its own tempo, gives each stroke a time. With
    those times as the plan the take is matched as to a click, three times, each with the times that the last one found;
    the notes of a broken chord each have their own.
    """
    plan = read_notes(as_numbers(plan_beats, "plan_beats"), plan_pitch, "plan", lowest=ANY_PITCH)
    take = read_notes(in_ms(take_us, "take_us"), take_pitch, "take")
    if len(plan) == 0 or len(take) == 0:
        return _nothing(plan, take, None)
    first = np.flatnonzero(np.diff(plan.at_ms, prepend=-np.inf) > 1e-9)
    score = read_strokes(plan, first)
    of_note = np.repeat(np.arange(first.size), np.diff(first, append=len(plan)))
    stroke, fits = best_path(score, take)
    rows = np.flatnonzero(fits)
    stroke, at_ms, key = stroke[rows], take.at_ms[rows], take.pitch[rows]
    match, confidence = np.full(len(plan), -1, np.int64), np.ones(len(plan))
    player = FREE_TEMPO_PLAYER
    for _ in range(3):
        if stroke.size == 0:
            break
        note_ms = stroke_times(score.beat, stroke, at_ms)[of_note]
        own_ms = broken_times(stroke, at_ms, key, of_note, plan.pitch)
        note_ms = np.where(np.isnan(own_ms), note_ms, own_ms)
        match, confidence, player = _timed_pass(plan, note_ms, of_note, take, player)
        sure = np.flatnonzero((match >= 0) & (confidence > 0.5))
        stroke, at_ms, key = of_note[sure], take.at_ms[match[sure]], take.pitch[match[sure]]
    done = _result(plan, take, match, confidence, 0.0, None, False, np.full(len(plan), np.inf))
    return replace(done, delay_ms=0.0, delay_sd_ms=float("inf"))


def _timed_pass(
    plan: NoteSequence, note_ms: FloatArray, of_note: IntArray, take: NoteSequence, player: PlayerModel
) -> tuple[IntArray, FloatArray, PlayerModel]:
    """Match and confidence in the plan's order, and the player, with the times found for the planned notes."""
    order = np.lexsort((plan.pitch, of_note, note_ms))
    timed = NoteSequence(note_ms[order], plan.pitch[order], plan.order[order])
    # Each note of a broken stroke is a stroke of its own.
    apart = (np.diff(timed.at_ms, prepend=-np.inf) > 0) | (np.diff(of_note[order], prepend=-1) != 0)
    first = np.flatnonzero(apart)
    found, chance = _pass(timed, take, first, player, FREE_TEMPO_PRIOR)
    learnt, _ = estimate_player(timed, take, found, chance, FREE_TEMPO_PLAYER, 0.0, near_home_ms(timed, first))
    match, confidence = np.empty_like(found), np.empty_like(chance)
    match[order], confidence[order] = found, chance
    return match, confidence, learnt
