"""Simulated takes without a plan: a player to a click, and for every onset the slot that was meant.

Conventions: positions in quarter notes from bar 1, beat 1; offsets in milliseconds, negative is early; nan stands for
an onset that belongs to no slot (a stray, an ornament). Every number is drawn from the generator given.

Inside: `Player`, `Groove`, `STYLES`, `make_groove`, `draw_player`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray

STYLES = ("eighths", "sixteenths", "triplets", "swing", "mixed")
"""What the beats divide into; ``mixed`` changes from beat to beat and from bar to bar."""

_SLOTS = {
    "quarter": ((0.0,), (0.9,)),
    "eighths": ((0.0, 0.5), (0.85, 0.65)),
    "sixteenths": ((0.0, 0.25, 0.5, 0.75), (0.8, 0.4, 0.65, 0.45)),
    "triplets": ((0.0, 1 / 3, 2 / 3), (0.8, 0.5, 0.7)),
    "sixths": (tuple(i / 6 for i in range(6)), (0.95,) * 6),
    "thirty": (tuple(i / 8 for i in range(8)), (0.95,) * 8),
}


@dataclass(frozen=True, slots=True)
class Player:
    """How a take is played."""

    style: str
    bpm: float
    bars: int = 32
    metre: tuple[int, int] = (4, 4)
    swing_ratio: float = 2.0
    """Long over short; read in style ``swing`` only."""
    bias_ms: float = 0.0
    spread_ms: float = 10.0
    """Standard deviation of the stroke noise."""
    rho: float = 0.35
    """Correlation of the noise from stroke to stroke."""
    wander_ms: float = 0.0
    """Standard deviation of a slow wander of the offset, with a memory of 16 beats."""
    run_ms: float = 0.0
    """Offset reached at the end of each fill: negative runs ahead."""
    fill_every: int = 4
    """A fill in each so many-th bar."""
    vary: float = 0.3
    """Share of the bars that are made up anew; the others repeat a two-bar pattern."""
    missing: float = 0.03
    stray: float = 0.01
    grace: float = 0.02
    pairs: float = 0.15
    """Share of the strokes struck with two hands."""
    tempo_scale: float = 1.0
    """Tempo as played over the tempo that is written."""
    tempo_drift: float = 0.0
    """How much faster (relative) the take ends than it begins, evenly spread; 0.02 is 2 % over the whole take."""


@dataclass(frozen=True, slots=True, eq=False)
class Groove:
    """A take with its truth, one row an onset, in time order."""

    player: Player
    take_us: IntArray
    meant: FloatArray
    """Slot in quarter notes; nan for a stray or an ornament."""
    offset_ms: FloatArray
    """Played minus slot."""
    in_run: BoolArray
    """True where the run has carried the player more than half a sixteenth away."""


def draw_player(rng: np.random.Generator, **fixed: object) -> Player:
    """Anyone: 50-220 bpm, bias to 60 ms, spread 4-30 ms, a run of up to 120 ms in half of the takes."""
    bpm = float(np.exp(rng.uniform(np.log(50), np.log(220))))
    styles = [s for s in STYLES if not (s == "sixteenths" and bpm > 200)]
    drawn: dict[str, object] = {
        "style": str(rng.choice(styles)),
        "bpm": bpm,
        "bars": int(rng.choice([16, 24, 32])),
        "swing_ratio": float(np.exp(rng.uniform(np.log(1.2), np.log(3.5)))),
        "bias_ms": float(rng.uniform(-60, 60)),
        "spread_ms": float(np.exp(rng.uniform(np.log(4), np.log(30)))),
        "rho": float(rng.choice([0.0, 0.35, 0.7])),
        "wander_ms": float(rng.choice([0.0, 5.0, 10.0])),
        "run_ms": float(rng.choice([0.0, rng.uniform(-120, 40)])),
        "fill_every": int(rng.choice([4, 8])),
        "vary": float(rng.choice([0.15, 0.5, 1.0])),
    }
    return Player(**(drawn | fixed))  # type: ignore[arg-type]


def _beat(rng: np.random.Generator, name: str, ratio: float, length: float) -> FloatArray:
    """Slots struck in one beat, quarter notes from its start."""
    if name == "swing":
        slots: tuple[tuple[float, ...], tuple[float, ...]] = (0.0, ratio / (1 + ratio)), (0.85, 0.75)
    else:
        slots = _SLOTS[name]
    at, chance = np.array(slots[0]), np.array(slots[1])
    return np.asarray(at[rng.random(at.size) < chance] * length)


def _kind(rng: np.random.Generator, style: str, bpm: float, last: str) -> str:
    """Division of the next beat."""
    if style != "mixed":
        return style if style in ("swing", "triplets") or rng.random() > 0.2 else "eighths"
    if last and rng.random() < 0.6:
        return last
    fine = ["sixths"] if bpm < 140 else []
    fine += ["thirty"] if bpm < 110 else []
    return str(rng.choice(["quarter", "eighths", "eighths", "sixteenths", "sixteenths", "triplets", *fine]))


def _bar(rng: np.random.Generator, player: Player, fill: bool) -> FloatArray:
    """Slots struck in one bar, quarter notes from its start."""
    count, unit = player.metre
    thirds = unit == 8 and count % 3 == 0
    length = 1.5 if thirds else 4.0 / unit
    beats, last = round(4 * count / unit / length), ""
    struck = []
    for beat in range(beats):
        last = _kind(rng, player.style, player.bpm, last)
        name = "triplets" if thirds and last in ("eighths", "quarter") else last
        if fill and name in ("eighths", "quarter", "sixteenths") and unit == 4 and not thirds:
            name = "sixteenths" if player.bpm < 180 else "eighths"
        struck.append(beat * length + _beat(rng, name, player.swing_ratio, length))
    return np.concatenate(struck)


def _slots(rng: np.random.Generator, player: Player) -> tuple[FloatArray, FloatArray]:
    """Slots struck in the whole take, and how far along its run each is (0 to 1)."""
    bar_quarters = 4.0 * player.metre[0] / player.metre[1]
    pattern = [_bar(rng, player, False), _bar(rng, player, False)]
    slots, along = [], []
    for bar in range(player.bars):
        fill = (bar + 1) % player.fill_every == 0
        here = _bar(rng, player, True) if fill else pattern[bar % 2]
        if not fill and rng.random() < player.vary:
            here = _bar(rng, player, False)
        slots.append(bar * bar_quarters + here)
        back = bar > 0 and bar % player.fill_every == 0
        along.append(here / bar_quarters if fill else np.clip(1 - here / 2.0, 0, 1) * back)
    return np.concatenate(slots), np.concatenate(along)


def make_groove(rng: np.random.Generator, player: Player) -> Groove:
    """Play one take."""
    slots, along = _slots(rng, player)
    keep = rng.random(slots.size) >= player.missing
    slots, along = slots[keep], along[keep]
    beat_ms = 60_000.0 / player.bpm
    local = player.bias_ms + player.run_ms * along + _wander(rng, slots, player.wander_ms)
    noise = np.empty(slots.size)
    fresh = rng.normal(0, player.spread_ms, slots.size)
    for i in range(slots.size):
        noise[i] = fresh[i] if i == 0 else player.rho * noise[i - 1] + np.sqrt(1 - player.rho**2) * fresh[i]
    offset = local + noise
    meant, played, base = [slots], [offset], [slots]
    two = np.flatnonzero(rng.random(slots.size) < player.pairs)
    meant.append(slots[two])
    base.append(slots[two])
    played.append(offset[two] + rng.normal(0, 5.0, two.size))
    grace = np.flatnonzero(rng.random(slots.size) < player.grace)
    meant.append(np.full(grace.size, np.nan))
    base.append(slots[grace])
    played.append(offset[grace] - rng.uniform(28, 45, grace.size))
    stray = rng.uniform(0, slots[-1], rng.binomial(slots.size, player.stray))
    meant.append(np.full(stray.size, np.nan))
    base.append(stray)
    played.append(np.zeros(stray.size))
    everything = np.concatenate(meant), np.concatenate(base), np.concatenate(played)
    at_ms = _as_played(everything[1], float(slots[-1]), player) * beat_ms
    us = np.round((at_ms + everything[2]) * 1000).astype(np.int64)
    order = np.argsort(us, kind="stable")
    away = np.concatenate([np.abs(player.run_ms * along + player.bias_ms), np.zeros(us.size - slots.size)])
    away[slots.size : slots.size + two.size] = away[two]
    past = away > beat_ms / 8
    return Groove(player, us[order], everything[0][order], everything[2][order], past[order])


def _as_played(quarter: FloatArray, length: float, player: Player) -> FloatArray:
    """Written positions to where the player's own tempo puts them, in quarters of the written tempo."""
    gain = player.tempo_drift / length
    bent = np.log1p(gain * quarter) / gain if gain else quarter
    return np.asarray(bent / player.tempo_scale)


def _wander(rng: np.random.Generator, slots: FloatArray, wander_ms: float) -> FloatArray:
    """A slow drift of the offset with a memory of 16 beats, at each slot."""
    beats = np.arange(int(slots[-1]) + 2)
    keep = np.exp(-1 / 16)
    level = np.zeros(beats.size)
    level[0] = rng.normal(0, wander_ms)
    for i in range(1, beats.size):
        level[i] = keep * level[i - 1] + rng.normal(0, wander_ms * np.sqrt(1 - keep**2))
    return np.interp(slots, beats, level)
