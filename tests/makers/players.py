"""Simulated players with known truth: parts worth playing, and takes of them whose every note is accounted for.

Conventions: all randomness comes from the ``rng`` argument. Offsets are played minus planned, negative is early. A part
is a `heeltap.model.plan.Plan` of 4/4 bars; a take is a `heeltap.model.notes.Notes` table in time order on the part's
clock, to which the constant ``delay_ms`` of the player's gear is added.

Inside: `make_part` (and `FIGURES`), `Player`, `Leap`, `play_part` -> `SimulatedTake`, `steady_offsets`,
`stroke_noise` (and `NOISES`), `ordinary_player`, `full_range_player`, `worst_player`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints
from heeltap.model.notes import Notes
from heeltap.model.plan import ANY_PITCH, KINDS, Plan, Section
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "FIGURES",
    "NOISES",
    "Leap",
    "Player",
    "SimulatedTake",
    "full_range_player",
    "make_part",
    "ordinary_player",
    "play_part",
    "steady_offsets",
    "stroke_noise",
    "worst_player",
]

FIGURES = ("quarters", "eighths", "sixteenths", "syncopated", "chords", "two_hands", "pads")
"""Kinds of part that `make_part` writes."""

NOISES = ("white", "ar", "wander", "long")
"""Kinds of `stroke_noise`: independent; AR(1); slow wander plus 20 % white; long memory (1/f)."""

_SLOT = TICKS_PER_QUARTER // 4
_SCALE = as_ints([0, 2, 3, 5, 7, 8, 10])
_KICK, _SNARE, _HAT, _TOM = 36, 38, 42, 45

_Cell = tuple[int, int, int]
"""One planned note: sixteenth slot from the start, pitch, hand."""


@dataclass(frozen=True, slots=True)
class Leap:
    """One place where the player loses the click."""

    kind: str
    """``bar`` (one is dropped), ``late``, ``early`` (by a beat), ``turned``, ``rushed`` (half a beat late, early)."""
    bar: int
    """Bar, from 1, at whose start it happens."""
    bars: int = 0
    """How many bars until the player is back; 0 is never."""


@dataclass(frozen=True, slots=True)
class Player:
    """How somebody plays; the default makes no mistake at all."""

    bias_ms: float = 0.0
    """Mean offset of a stroke."""
    spread_ms: float = 0.0
    """Standard deviation of the stroke noise."""
    noise: str = "white"
    """One of `NOISES`."""
    rho: float = 0.5
    """Lag-one correlation of the ``ar`` noise."""
    drift_ms_per_bar: float = 0.0
    """Slope of the offset over the whole take."""
    rush_ms: float = 0.0
    """How early the last stroke before a section change comes; grows over the bar, gone a bar after the change."""
    fill_ms: float = 0.0
    """Constant shift of the strokes in fills; negative is early."""
    chord_ms: float = 0.0
    """Standard deviation of a note about its stroke."""
    missing: float = 0.0
    """Share of planned notes not played."""
    extra: float = 0.0
    """Unplanned notes as a share of the planned ones, at any time."""
    wrong: float = 0.0
    """Share of the played notes struck on another key, four in five within two semitones."""
    doubles: float = 0.0
    """Share of the played notes whose key bounces 15-45 ms later."""
    delay_ms: float = 0.0
    """Constant delay of the gear, added to everything."""
    leaps: tuple[Leap, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedTake:
    """A take and the truth about it."""

    notes: Notes
    """What was played, in time order; the gear's delay included."""
    match: IntArray
    """Per planned note: index into ``notes``, or -1 where it was not played."""
    wrong: BoolArray
    """Per planned note: it was struck with another key."""
    extra: IntArray
    """Indices of the played notes that nothing planned, increasing."""
    offset_us: FloatArray
    """Per planned note: played minus planned without the gear's delay, whole us; nan where missed. Leaps included."""
    delay_ms: float
    """The gear's constant delay."""


def stroke_noise(rng: np.random.Generator, count: int, kind: str, rho: float = 0.5) -> FloatArray:
    """Noise of one kind of `NOISES` with standard deviation 1 and mean 0 in expectation.

    ``wander`` is AR(1) with 0.9 for 80 % of the variance and white for the rest; ``long`` has power falling as 1/f,
    from a spectrum twice as long as needed (so that the ends do not meet) and scaled to its expected deviation.
    """
    white = rng.standard_normal(count)
    if kind == "white":
        return white
    if kind == "ar":
        return _autoregress(white, rho, rng)
    if kind == "wander":
        return np.sqrt(0.8) * _autoregress(white, 0.9, rng) + np.sqrt(0.2) * rng.standard_normal(count)
    if kind == "long":
        size = 2 * max(count, 8)
        weight = np.arange(1, size // 2 + 1) ** -0.5
        power = rng.standard_normal(weight.size) + 1j * rng.standard_normal(weight.size)
        spectrum = np.concatenate([[0.0], weight * power])
        return np.fft.irfft(spectrum, size)[:count] * size / np.sqrt(4 * np.sum(weight**2))
    raise ValueError(f"noise {kind!r}; expected one of {NOISES}")


def _autoregress(white: FloatArray, rho: float, rng: np.random.Generator) -> FloatArray:
    """Stationary AR(1) of unit variance driven by the given white noise."""
    out = np.empty_like(white)
    level = float(rng.standard_normal())
    scale = np.sqrt(1 - rho * rho)
    for row, push in enumerate(white):
        level = rho * level + scale * push
        out[row] = level
    return out


def make_part(
    rng: np.random.Generator,
    figure: str = "eighths",
    *,
    tempo_bpm: float = 110.0,
    bars: int = 16,
    section_bars: int = 4,
    fills: bool = True,
    one_key: bool = False,
    any_key: bool = False,
    uneven_start: bool = True,
) -> Plan:
    """A part of one of `FIGURES` in sections of equal length, the last bar of each a fill unless told otherwise.

    ``one_key`` puts one note a stroke on one key; ``any_key`` the same as `ANY_PITCH`; ``uneven_start`` opens with a
    figure that cannot be mistaken for itself shifted by a stroke.
    """
    cells: list[_Cell] = []
    tonic = int(rng.integers(40, 60))
    degree = 0
    for bar in range(bars):
        filling = fills and section_bars > 0 and (bar + 1) % section_bars == 0 and bar + 1 < bars
        for slot in _rhythm(rng, figure, filling, uneven_start and bar == 0):
            degree = int(np.clip(degree + rng.choice([-3, -2, -1, -1, 1, 1, 2, 3]), -7, 10))
            cells += [
                (16 * bar + slot, pitch, hand) for pitch, hand in _touch(rng, figure, slot, tonic, degree, filling)
            ]
    cells = sorted({(slot, pitch): (slot, pitch, hand) for slot, pitch, hand in cells}.values())
    if one_key or any_key:  # one note a stroke: which finger of a chord struck would be nobody's to tell
        cells = sorted({(slot, tonic, 0) for slot, _, _ in cells})
    pitch = np.array([cell[1] for cell in cells], np.int64)
    slots = np.array([cell[0] for cell in cells], np.int64)
    return _plan(
        slots, np.full_like(pitch, ANY_PITCH) if any_key else pitch, cells, tempo_bpm, bars, section_bars, fills, figure
    )


def _rhythm(rng: np.random.Generator, figure: str, filling: bool, uneven: bool) -> list[int]:
    """Sixteenth slots 0-15 of one bar."""
    if uneven:
        return [0, 3, 4, 6, 8, 11, 12]
    if figure == "quarters":
        return [0, 4, 8, 10, 12, 14] if filling else [0, 4, 8, 12]
    if figure == "eighths":
        return [0, 2, 4, 6, 8, 9, 10, 11, 12, 13, 14, 15] if filling else list(range(0, 16, 2))
    if figure == "sixteenths":
        return list(range(16))
    if figure == "pads" and not filling:
        return [slot for slot in range(16) if slot % 2 == 0 or rng.random() < 0.15]
    odds = np.array([0.9, 0.2, 0.5, 0.35] * 4) + (0.25 if filling else 0.0)
    return [slot for slot in range(16) if rng.random() < odds[slot]] or [0]


def _touch(
    rng: np.random.Generator, figure: str, slot: int, tonic: int, degree: int, filling: bool
) -> list[tuple[int, int]]:
    """Pitches and hands of one stroke."""
    note = tonic + 12 * (degree // 7) + int(_SCALE[degree % 7])
    if figure == "chords":
        return [(tonic + 12 * ((degree + up) // 7) + int(_SCALE[(degree + up) % 7]), 2) for up in (0, 2, 4)]
    if figure == "two_hands":
        right = [(note + 12, 2)] + ([(note + 16, 2)] if rng.random() < 0.3 else [])
        return right + ([(tonic - 12 + int(_SCALE[degree % 5]), 1)] if slot % 4 == 0 else [])
    if figure == "pads":
        if filling:
            return [(int(rng.choice([_SNARE, _TOM, _TOM + 2, _KICK])), 0)]
        drum = _KICK if slot in (0, 8) or rng.random() < 0.15 else _SNARE if slot in (4, 12) else 0
        return [(_HAT, 2)] + ([(drum, 1)] if drum else [])
    return [(note, 0)]


def _plan(
    slots: IntArray,
    pitch: IntArray,
    cells: list[_Cell],
    tempo_bpm: float,
    bars: int,
    section_bars: int,
    fills: bool,
    name: str,
) -> Plan:
    """The plan of the cells, with its sections and kinds of stroke."""
    tempo = steady_tempo(tempo_bpm)
    tick = slots * _SLOT
    bar = slots // 16
    step = section_bars if section_bars > 0 else bars
    sections = tuple(
        Section(f"part {1 + first // step}", first + 1, min(first + step, bars)) for first in range(0, bars, step)
    )
    opening = (bar % step == 0) & (bar > 0)
    first_slot = np.array([slots[bar == one].min() for one in range(bars) if np.any(bar == one)])
    kind = np.full(tick.size, KINDS.index("groove"))
    if fills:
        kind[(bar % step == step - 1) & (bar + 1 < bars)] = KINDS.index("fill")
    kind[opening] = KINDS.index("after")
    kind[opening & np.isin(slots, first_slot)] = KINDS.index("landing")
    stroke = np.unique(slots, return_inverse=True)[1].astype(np.int64)
    velocity = np.where(slots % 8 == 4, 96, np.where(slots % 4 == 0, 84, 68))
    hand = as_ints([cell[2] for cell in cells])
    return Plan(
        name, tick, tempo.us_at(tick), pitch, velocity, hand, kind, stroke, tempo, steady_metre(), sections, bars
    )


def play_part(rng: np.random.Generator, part: Plan, player: Player) -> SimulatedTake:
    """One take of the part by the player, and the truth about it."""
    offset_us = _offsets(rng, part, player)
    shift_us, lost = _leaps(part, player)
    played = ~lost & (rng.random(len(part)) >= player.missing)
    offset_us = np.where(played, np.round(offset_us + shift_us), np.nan)
    rows = np.flatnonzero(played)
    onset = part.at_us[rows] + offset_us[rows].astype(np.int64)
    sounding = np.where(part.pitch == ANY_PITCH, 60, part.pitch)
    pitch = sounding[rows].copy()
    slip = rng.random(rows.size) < np.where(part.pitch[rows] == ANY_PITCH, 0.0, player.wrong)
    pitch[slip] = np.clip(pitch[slip] + _key_slips(rng, int(slip.sum())), 0, 127)
    more_onset, more_pitch = _unplanned(rng, part, player, onset, pitch)
    velocity = np.clip(
        np.where(part.velocity[rows] > 0, part.velocity[rows], 80) + rng.integers(-12, 13, rows.size), 1, 127
    )
    return _sorted_take(part, player, rows, slip, offset_us, (onset, pitch, velocity), (more_onset, more_pitch))


def _offsets(rng: np.random.Generator, part: Plan, player: Player) -> FloatArray:
    """Offset of every planned note in us, leaps left out."""
    strokes = int(part.stroke[-1]) + 1 if len(part) else 0
    wobble = player.spread_ms * stroke_noise(rng, strokes, player.noise, player.rho)
    ms = wobble[part.stroke] + player.chord_ms * rng.standard_normal(len(part))
    return steady_offsets(part, player) + 1000.0 * ms


def steady_offsets(part: Plan, player: Player) -> FloatArray:
    """What every planned note's offset is on average over takes of this player, us: bias, drift, rush and fills."""
    bar_us = part.tempo.us_at(4 * TICKS_PER_QUARTER)
    place = part.at_us / float(bar_us)
    ms = player.bias_ms + player.drift_ms_per_bar * (place - place.mean() if len(part) else place)
    for section in part.sections[1:]:
        away = place - (section.first_bar - 1)
        ms = ms - player.rush_ms * np.clip(1 - np.abs(away), 0, 1)
    ms = ms + player.fill_ms * (part.kind == KINDS.index("fill"))
    return 1000.0 * ms


def _leaps(part: Plan, player: Player) -> tuple[FloatArray, BoolArray]:
    """Shift of every planned note by the leaps, us, and which notes were skipped in them."""
    bar_us = float(part.tempo.us_at(4 * TICKS_PER_QUARTER))
    size = {"bar": -bar_us, "late": bar_us / 4, "early": -bar_us / 4, "turned": bar_us / 8, "rushed": -bar_us / 8}
    shift = np.zeros(len(part))
    for leap in player.leaps:
        start = (leap.bar - 1) * bar_us
        end = start + leap.bars * bar_us if leap.bars else np.inf
        shift[(part.at_us > start - 1000) & (part.at_us < end - 1000)] += size[leap.kind]
    when = part.at_us + shift
    before = np.maximum.accumulate(np.concatenate([[-np.inf], when[:-1]])) if len(part) else when
    return shift, before > when + 1000


def _key_slips(rng: np.random.Generator, count: int) -> IntArray:
    """Semitones by which a finger misses: four in five within two, never 0."""
    near = rng.choice([-2, -1, 1, 2], count)
    far = rng.integers(3, 13, count) * rng.choice([-1, 1], count)
    return as_ints(np.where(rng.random(count) < 0.8, near, far))


def _unplanned(
    rng: np.random.Generator, part: Plan, player: Player, onset: IntArray, pitch: IntArray
) -> tuple[IntArray, IntArray]:
    """Onsets and pitches of extra notes and bounces."""
    if onset.size == 0:
        return onset, pitch
    strays = int(rng.binomial(len(part), player.extra)) if player.extra else 0
    when = rng.integers(int(onset.min()), int(onset.max()) + 1, strays)
    keys = np.clip(rng.choice(pitch, strays) + rng.integers(-4, 5, strays), 0, 127)
    bounce = np.flatnonzero(rng.random(onset.size) < player.doubles)
    again = onset[bounce] + rng.integers(15_000, 45_000, bounce.size)
    return np.concatenate([when, again]), np.concatenate([keys, pitch[bounce]])


def _sorted_take(
    part: Plan,
    player: Player,
    rows: IntArray,
    slip: BoolArray,
    offset_us: FloatArray,
    played: tuple[IntArray, IntArray, IntArray],
    more: tuple[IntArray, IntArray],
) -> SimulatedTake:
    """Everything in time order, the delay added, the truth indexed accordingly."""
    onset = np.concatenate([played[0], more[0]]) + round(1000 * player.delay_ms)
    pitch = np.concatenate([played[1], more[1]])
    velocity = np.concatenate([played[2], np.full(more[0].size, 50, np.int64)])
    order = np.lexsort((pitch, onset))
    place = np.empty(onset.size, np.int64)
    place[order] = np.arange(onset.size)
    match = np.full(len(part), -1, np.int64)
    match[rows] = place[: rows.size]
    wrong = np.zeros(len(part), bool)
    wrong[rows] = slip
    zero = np.zeros(onset.size, np.int64)
    notes = Notes(onset[order], pitch[order], velocity[order], zero, zero.copy(), zero - 1)
    return SimulatedTake(notes, match, wrong, np.sort(place[rows.size :]), offset_us, player.delay_ms)


def ordinary_player(rng: np.random.Generator) -> Player:
    """Someone who plays well: spread 5-20 ms, bias to 40, rush to 30, a delay of up to 250 ms, few mistakes."""
    return Player(
        bias_ms=float(rng.uniform(-40, 40)),
        spread_ms=float(rng.uniform(5, 20)),
        noise=str(rng.choice(NOISES)),
        rho=float(rng.uniform(0, 0.7)),
        drift_ms_per_bar=float(rng.uniform(-0.5, 0.5)),
        rush_ms=float(rng.uniform(0, 30)),
        fill_ms=float(rng.uniform(-10, 0)),
        chord_ms=float(rng.uniform(2, 8)),
        missing=float(rng.uniform(0, 0.05)),
        extra=float(rng.uniform(0, 0.04)),
        wrong=float(rng.uniform(0, 0.03)),
        doubles=float(rng.uniform(0, 0.01)),
        delay_ms=float(rng.uniform(0, 250)),
    )


def full_range_player(rng: np.random.Generator) -> Player:
    """Anyone: spread to 40 ms, bias to 80, rush to 60, chords to 60 across, 15 % missing, 15 % extra, 10 % wrong."""
    return replace(
        ordinary_player(rng),
        bias_ms=float(rng.uniform(-80, 80)),
        spread_ms=float(rng.uniform(5, 40)),
        rush_ms=float(rng.uniform(0, 60)),
        chord_ms=float(rng.uniform(2, 20)),
        missing=float(rng.uniform(0, 0.15)),
        extra=float(rng.uniform(0, 0.12)),
        wrong=float(rng.uniform(0, 0.10)),
        doubles=float(rng.uniform(0, 0.03)),
    )


def worst_player(rng: np.random.Generator) -> Player:
    """Everything at its worst at once; of the 15 % unplanned notes a fifth are bounces."""
    return replace(
        full_range_player(rng),
        bias_ms=float(rng.choice([-80, 80])),
        spread_ms=40.0,
        rush_ms=60.0,
        chord_ms=20.0,
        missing=0.15,
        extra=0.12,
        wrong=0.10,
        doubles=0.03,
        delay_ms=float(rng.uniform(150, 250)),
    )
