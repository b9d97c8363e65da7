"""Simulated Offsets tables with known truth: noise of several kinds, a song's layout, and faults planted in it.

Conventions as in `heeltap.model.offsets`: milliseconds, negative is early. Nothing here uses the code under test but
the table type itself.

Inside: `NOISES`, `noise`, `Layout`, `layout`, `offsets_table`, `plant`.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from heeltap.model.sections import section_columns
from heeltap.model.subdivisions import division_of

__all__ = ["FAULTS", "NOISES", "drum_plain", "noise", "offsets_table", "plant"]


def _white(n: int, rng: np.random.Generator, heavy: bool) -> FloatArray:
    """Unit variance; heavy: Student's t with 4 degrees of freedom, which has no fourth moment."""
    return rng.standard_t(4, n) / np.sqrt(2.0) if heavy else rng.normal(size=n)


def _autoregressive(n: int, rng: np.random.Generator, rho: float, heavy: bool) -> FloatArray:
    """First-order autoregression of unit variance, started in its stationary state."""
    shocks = _white(n + 200, rng, heavy) * np.sqrt(1 - rho**2)
    out = np.empty(n + 200)
    level = 0.0
    for index, shock in enumerate(shocks):
        level = rho * level + shock
        out[index] = level
    return out[200:]


def _fractional(n: int, rng: np.random.Generator, hurst: float) -> FloatArray:
    """Fractional Gaussian noise of unit variance, exact, by circulant embedding (Davies & Harte 1987, from
    memory)."""
    lag = np.arange(n + 1, dtype=np.float64)
    r = 0.5 * ((lag + 1) ** (2 * hurst) - 2 * lag ** (2 * hurst) + np.abs(lag - 1) ** (2 * hurst))
    power = np.maximum(np.fft.fft(np.concatenate((r, r[-2:0:-1]))).real, 0.0)
    m = power.size
    complex_white = rng.normal(size=m) + 1j * rng.normal(size=m)
    return np.fft.fft(np.sqrt(power / m) * complex_white).real[:n]


def _one_over_f(n: int, rng: np.random.Generator, exponent: float) -> FloatArray:
    """Noise of power f ** -exponent, cut from a series eight times as long; variance one over the long series."""
    m = 8 * n
    size = np.zeros(m // 2 + 1)
    size[1:] = np.arange(1, m // 2 + 1) ** (-exponent / 2)
    series = np.fft.irfft(size * (rng.normal(size=size.size) + 1j * rng.normal(size=size.size)), m)
    return (series / series.std())[:n]


NOISES: dict[str, Callable[[int, np.random.Generator], FloatArray]] = {
    "ar0": lambda n, rng: _autoregressive(n, rng, 0.0, False),
    "ar35": lambda n, rng: _autoregressive(n, rng, 0.35, False),
    "ar70": lambda n, rng: _autoregressive(n, rng, 0.7, False),
    "ar0-heavy": lambda n, rng: _autoregressive(n, rng, 0.0, True),
    "ar35-heavy": lambda n, rng: _autoregressive(n, rng, 0.35, True),
    "ar70-heavy": lambda n, rng: _autoregressive(n, rng, 0.7, True),
    "wander": lambda n, rng: np.sqrt(0.8) * _autoregressive(n, rng, 0.9, False) + np.sqrt(0.2) * _white(n, rng, False),
    "long80": lambda n, rng: _fractional(n, rng, 0.8),
    "long90": lambda n, rng: _fractional(n, rng, 0.9),
    "long90-white": lambda n, rng: np.sqrt(0.7) * _fractional(n, rng, 0.9) + np.sqrt(0.3) * _white(n, rng, False),
    "pink80": lambda n, rng: _one_over_f(n, rng, 0.8),
    "pink100": lambda n, rng: _one_over_f(n, rng, 1.0),
}
"""Unit-variance noise by name: first-order autoregression (rho in hundredths, normal or heavy tails), a slow wander
of 0.9 a stroke with 20 % white on top (as drummers have), and long memory (Hurst exponent, or power f **
-exponent)."""


def noise(kind: str, n: int, rng: np.random.Generator, *, sd_ms: float = 12.0) -> FloatArray:
    """``n`` strokes' offsets of a player without a fault, mean 0, ms."""
    return sd_ms * NOISES[kind](n, rng)


def offsets_table(
    offset_ms: FloatArray,
    rng: np.random.Generator,
    *,
    per_bar: int = 8,
    sections: int = 8,
    beat_ms: float = 500.0,
    strokes: FloatArray | None = None,
) -> Offsets:
    """A take in 4/4 over equal sections: eighths (``per_bar`` 8), quarters (4) or sixteenths (16).

    The last half bar of each section is a fill, its new section's first stroke a landing; loudness is accents on two
    and four plus scatter; hands alternate with exceptions; some strokes follow a rest; some leap. None of it moves
    an offset.
    """
    n = offset_ms.size
    slot = np.arange(n) if strokes is None else strokes
    bar = (slot // per_bar + 1).astype(np.int64)
    beat = 1.0 + (slot % per_bar) * 4.0 / per_bar
    bars = int(bar[-1]) if n else 0
    count = min(sections, bars)
    length = max(1, bars // sections)
    ends = [index * length for index in range(1, count)] + [bars]
    song = tuple(Section(f"part {index + 1}", 1 + index * length, end) for index, end in enumerate(ends) if bars)
    section, to_change, since = section_columns(bar, song)
    kind = np.where((to_change == 1) & (beat >= 3), 1, 0)
    kind[(since == 0) & (beat < 3)] = 3
    kind[(since == 0) & (beat == 1)] = 2
    step = beat_ms * 4.0 / per_bar
    rest = np.where(rng.random(n) < 0.1, 2 * step, step)
    return Offsets(
        onset_us=np.round(slot * step * 1000 + offset_ms * 1000).astype(np.int64),
        offset_ms=np.array(offset_ms, dtype=np.float64),
        bar=bar,
        beat=beat,
        division=division_of(beat),
        section=section,
        kind=kind.astype(np.int64),
        hand=_hands(n, rng),
        pitch=rng.integers(40, 72, n),
        drum=np.full(n, -1),
        velocity=np.clip(np.round(rng.normal(80, 9, n) + 14 * np.isin(beat, (2, 4))), 1, 127).astype(np.int64),
        interval_ms=np.full(n, step),
        rest_ms=rest,
        leap=np.where(rng.random(n) < 0.15, rng.integers(8, 20, n), rng.integers(-4, 5, n)),
        spread_ms=np.zeros(n),
        bars_to_change=to_change,
        bars_since_change=since,
        confidence=np.ones(n),
        reference_sd_ms=np.zeros(n),
        beat_ms=np.full(n, beat_ms),
        sections=song,
    )


def _hands(n: int, rng: np.random.Generator) -> IntArray:
    """Right, left, right, left, with one stroke in eight by the other hand."""
    alternate = 2 - np.arange(n) % 2
    return np.where(rng.random(n) < 0.125, 3 - alternate, alternate).astype(np.int64)


def _rush_and_return(table: Offsets, back_beats: float) -> FloatArray:
    """Earlier and earlier through the last bar, most at the landing, on time again after so many beats; in 4/4."""
    up = np.where(table.bars_to_change == 1, (table.beat - 1) / 4, 0.0)
    since = 4 * table.bars_since_change + table.beat - 1
    return -np.where(table.bars_since_change >= 0, np.maximum(up, np.clip(1 - since / back_beats, 0, 1)), up)


FAULTS: dict[str, Callable[[Offsets], FloatArray]] = {
    "rush-into-change": lambda t: -(t.bars_to_change == 1).astype(np.float64),
    "ramp-into-change": lambda t: -np.where(t.bars_to_change == 1, (t.beat - 1) / 3.5, 0.0),
    "rush-back-in-2": lambda t: _rush_and_return(t, 2.0),
    "rush-back-in-3": lambda t: _rush_and_return(t, 3.0),
    "rush-back-in-4": lambda t: _rush_and_return(t, 4.0),
    "beat-two": lambda t: -(t.beat == 2).astype(np.float64),
    "off-beats": lambda t: -(t.beat % 1 > 0).astype(np.float64),
    "fills": lambda t: -(t.kind == 1).astype(np.float64),
    "loud": lambda t: -(t.velocity - t.velocity.mean()) / max(float(t.velocity.std()), 1e-9),
    "bias": lambda t: -np.ones(len(t)),
    "hand": lambda t: -(t.hand == 1).astype(np.float64),
    "rest": lambda t: -(t.rest_ms > 1.5 * np.median(t.rest_ms)).astype(np.float64),
    "leap": lambda t: (np.abs(t.leap) >= 7).astype(np.float64),
    "drift": lambda t: -(t.bar - t.bar.mean()) / max(float(np.ptp(t.bar)), 1.0),
}
"""Where a planted fault acts: one number a stroke, to be multiplied by its size in ms (positive size: earlier)."""


def plant(table: Offsets, fault: str, size_ms: float) -> Offsets:
    """The table with one fault of that size added; ``loud`` is ms a standard deviation of loudness, ``drift`` first
    to last bar."""
    return replace(table, offset_ms=table.offset_ms + size_ms * FAULTS[fault](table))


def drum_plain(table: Offsets) -> float:
    """Slope of the offsets on loudness inside the drums, ms for one standard deviation of it, by plain sums.

    Loudness is drawn in at three standard deviations, as findings do.
    """
    louder = table.velocity.astype(np.float64)
    for drum in np.unique(table.drum):
        louder[table.drum == drum] -= louder[table.drum == drum].mean()
    louder = np.clip(louder / louder.std(), -3, 3)
    return float(np.polyfit(louder, table.offset_ms, 1)[0])
