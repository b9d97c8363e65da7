"""Clicks and knocks in one recording: the delay of output and input together, whoever knocks.

The microphone hears a click at ``s + O + M`` and a knock at ``p + M``, with its own unknown ``M``. The click was sent at
``s`` and the knock stamped at ``p + I``. So click heard minus sent, plus knock stamped minus heard, is ``O + I``.

How: onsets are found by how much the sound grows; the one shift at which most clicks meet an onset says roughly where
the clicks are, another one where the knocks are; then each is placed to a fraction of a millisecond, the clicks by their
known sound where it is known, everything else by the moment at which the sound's power changes. The recorder's clock may
run off ours: clicks and knocks share one drift. What could be something else is declined, with the reason.

Inside: `microphone_delay`, `NEEDED`.
"""

from dataclasses import dataclass

import numpy as np

from heeltap.analysis.statistics.robust import MAD_TO_SD
from heeltap.gear.delay import MICROPHONE, Declined, Delay
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints

__all__ = ["NEEDED", "microphone_delay"]

NEEDED = 12
"""Knocks, and clicks, that must be usable. With onsets good to 0.3 ms the average is then good to 0.1 ms. Ours."""

_FULL = 0.999
"""From here on a sample is at full scale: 16 bits end at 0.99997."""

_LOWEST_HZ = 120.0
"""Below lie mains hum and footsteps."""

_EARLIEST_MS, _LATEST_MS = -300, 1500
"""Where the sound may lie in the recording beside where our clock says: a recorder may start late, an output be slow."""

_GROWTH = 1.5
"""What makes an onset: the power of 3 ms is e^1.5 (6.5 dB) above that of the 8 ms before."""

_SHARE = 0.7
"""So many of the clicks (knocks) must have an onset at the shift; else they are not what is heard."""

_RIVAL = 0.7
"""Another shift that fits this well, compared with the best, makes it doubtful."""

_APART_MS = 25.0
"""A knock this close to a click cannot be told from it."""

_ON_CLICK = "most knocks fall on a click, so that both are one sound: knock between the clicks"

_ALONG_MS = 100.0
"""A stamp this close to when a click was sent belongs to a knock on that click; nobody answers a click so soon."""

_ALIKE = 0.9
"""Correlation of the average knock with the average click above which both are taken for the same sound."""

_WIDE_MS = 41
"""Width within which straying events are still recognised."""

_JITTER_MS = 3.0
"""A route with a larger spread than this is not for scoring: wireless ones do."""

_LEAST_MS = -50.0
"""Below 0 a delay may be where a slow sound module answers the pad and the microphone hears that; no module is slower."""

_FLOOR_MS = 0.5
"""What the method is held to on simulated sound at 20 dB; a result is never called surer."""

_MOST_DRIFT = 1e-4
"""How far the recorder's clock may usually run off ours (one standard deviation): quartz is within it."""


@dataclass(frozen=True, slots=True, eq=False)
class _Recording:
    """A recording, ready to be searched."""

    wave: FloatArray
    """Samples without rumble."""
    growth: FloatArray
    """Natural logarithm of the growth of power at each millisecond, at least 0."""
    rate_hz: float


def microphone_delay(
    audio: FloatArray,
    rate_hz: float,
    click_us: IntArray,
    knock_us: IntArray,
    *,
    click_sound: FloatArray | None = None,
) -> Delay | Declined:
    """Output plus input delay from one recording of clicks and knocks.

    Parameters
    ----------
    audio : float, shape (n,)
        One channel, full scale is 1.
    rate_hz : float
        Samples a second.
    click_us : int64, shape (m,)
        When each click was sent, microseconds, 0 at about the start of the recording (to within a second; what is
        left falls out). At irregular intervals, see `heeltap.gear.delay.irregular_us`.
    knock_us : int64, shape (k,)
        MIDI stamps of the knocks, on the same clock.
    click_sound : float, shape (j,), optional
        The click as it was played, at ``rate_hz``; where not given (a sound module's), its beginning is looked for.

    Returns
    -------
    Delay or Declined
        Declined: too few, clipped, not heard, straying like a wireless route, or not to be told apart.

    Notes
    -----
    The onset is the sample at which splitting a stretch into two of constant power is most likely: Maeda (1985), Zisin
    38, 365-379 (from memory). The rest is ours.
    """
    clicks, knocks = as_ints(click_us) / 1000, as_ints(knock_us) / 1000
    for name, times in (("click", clicks), ("knock", knocks)):
        if times.size < NEEDED:
            return Declined(f"{times.size} {name}s are too few: heeltap needs {NEEDED}")
    wave = np.asarray(audio, dtype=np.float64)
    if wave.size < rate_hz:
        return Declined("the recording is shorter than a second: is the microphone switched on?")
    if clipped := _clipped(wave):
        return Declined(f"the recording is clipped in {clipped} places: turn the microphone down")
    sound = _sound(wave, rate_hz)
    pairs = _recognised(sound, clicks, knocks)
    if isinstance(pairs, Declined):
        return pairs
    (clicks, about_click), (knocks, about_knock) = pairs
    if _same_sound(sound, about_click, about_knock):
        return Declined("knock and click sound alike: switch the pad's own sound off")
    click_ms = _placed(sound, about_click, click_sound)
    knock_ms = _placed(sound, about_knock, None)
    return _fit(clicks, click_ms - clicks, knocks, knock_ms - knocks)


_Pair = tuple[FloatArray, FloatArray]
"""When events were sent or stamped, and about where they are in the recording, milliseconds."""


def _recognised(sound: _Recording, clicks: FloatArray, knocks: FloatArray) -> tuple[_Pair, _Pair] | Declined:
    """The clicks and the knocks that can be heard, each by itself."""
    shifts: list[float] = []
    for name, times in (("click", clicks), ("knock", knocks)):
        shift = _shift(sound, times, name)
        if isinstance(shift, Declined):
            return Declined(_ON_CLICK) if _along(clicks, knocks) else shift
        shifts.append(shift)
    about_click, about_knock = clicks + shifts[0], knocks + shifts[1]
    click_alone, knock_alone = _alone(about_click, about_knock), _alone(about_knock, about_click)
    if min(np.count_nonzero(click_alone), np.count_nonzero(knock_alone)) < NEEDED:
        return Declined(_ON_CLICK)
    click_good, knock_good = click_alone & _audible(sound, about_click), knock_alone & _audible(sound, about_knock)
    fewest = min(np.count_nonzero(click_good), np.count_nonzero(knock_good))
    if fewest < NEEDED:
        return Declined(f"the microphone hears only {fewest} clicks or knocks, and heeltap needs {NEEDED}")
    return (clicks[click_good], about_click[click_good]), (knocks[knock_good], about_knock[knock_good])


def _clipped(wave: FloatArray) -> int:
    """Places where three samples in a row or more stand at full scale."""
    full = np.abs(wave) >= _FULL
    runs = full[:-2] & full[1:-1] & full[2:]
    return int(np.count_nonzero(np.diff(runs.astype(np.int8), prepend=0) == 1))


def _sound(wave: FloatArray, rate_hz: float) -> _Recording:
    """The recording without rumble, and how its power grows."""
    wave = _without_rumble(wave, rate_hz)
    total = np.concatenate([[0.0], np.cumsum(wave**2)])
    step = rate_hz / 1000
    at = np.arange(int(wave.size / step)) * step

    def power(from_ms: float, to_ms: float) -> FloatArray:
        left = np.clip(np.rint(at + from_ms * step), 0, wave.size).astype(np.int64)
        right = np.clip(np.rint(at + to_ms * step), 0, wave.size).astype(np.int64)
        return np.asarray((total[right] - total[left]) / np.maximum(right - left, 1))

    least = 1e-12 + 1e-3 * float(np.median(power(0, 3)))  # a recording of digital silence has no logarithm
    growth = np.log(power(0, 3) + least) - np.log(power(-9, -1) + least)
    return _Recording(wave, np.clip(growth, 0.0, 5.0), rate_hz)


def _without_rumble(wave: FloatArray, rate_hz: float) -> FloatArray:
    """Everything above `_LOWEST_HZ`; the filter looks back only, so it moves no onset forward."""
    from scipy.signal import butter, sosfilt

    return np.asarray(sosfilt(butter(4, _LOWEST_HZ, "highpass", fs=rate_hz, output="sos"), wave), dtype=np.float64)


def _shift(sound: _Recording, at_ms: FloatArray, name: str) -> float | Declined:
    """The one shift, in ms, from our clock to the recording at which most of these events have an onset."""
    shifts = np.arange(_EARLIEST_MS, _LATEST_MS + 1)
    place = np.rint(at_ms).astype(np.int64)[:, None] + shifts
    inside = (place >= 0) & (place < sound.growth.size)
    found = np.where(inside, sound.growth[np.clip(place, 0, sound.growth.size - 1)], 0.0)
    fit = found.mean(axis=0)
    best = int(np.argmax(fit))
    near = slice(max(best - 2, 0), best + 3)
    if float(np.mean(found[:, near].max(axis=1) > _GROWTH)) < _SHARE:
        return _not_found(found, name)
    rival = float(np.max(np.where(np.abs(shifts - shifts[best]) > 6, fit, 0.0)))
    if rival > _RIVAL * float(fit[best]):
        return Declined(f"the microphone hears each {name} twice: switch other sounds off, first of all the pad's own")
    return float(shifts[best])


def _not_found(found: FloatArray, name: str) -> Declined:
    """Why the events have no onset in common: they stray widely, or nobody hears them."""
    wide = np.apply_along_axis(np.convolve, 1, (found > _GROWTH).astype(np.float64), np.ones(_WIDE_MS), "same") > 0
    shared = wide.mean(axis=0)
    if float(shared.max()) > max(0.8, float(np.median(shared)) + 0.3):
        return Declined(
            f"the microphone hears the {name}s, but their spread is over {_JITTER_MS:.0f} ms: "
            "heeltap cannot score a wireless route"
        )
    where = "loudspeaker" if name == "click" else "pad or key"
    return Declined(
        f"heeltap cannot hear the {name}s in the recording, or tell them from other sounds: bring the microphone nearer to "
        f"the {where}, or turn it up"
    )


def _audible(sound: _Recording, about_ms: FloatArray) -> BoolArray:
    """Which events have an onset where one should be; a brush of the hand is stamped and makes no sound."""
    place = np.rint(about_ms).astype(np.int64)[:, None] + np.arange(-2, 3)
    grown = sound.growth[np.clip(place, 0, sound.growth.size - 1)].max(axis=1)
    return np.asarray(grown > _GROWTH)


def _along(click_ms: FloatArray, knock_ms: FloatArray) -> bool:
    """Whether the player knocked along with the clicks: most stamps lie beside one."""
    nearest = np.min(np.abs(knock_ms[:, None] - click_ms), axis=1)
    return float(np.mean(nearest < _ALONG_MS)) > 0.5


def _alone(at_ms: FloatArray, other_ms: FloatArray) -> BoolArray:
    """Which events have none of the other kind beside them."""
    place = np.searchsorted(other_ms, at_ms)
    before = np.abs(at_ms - other_ms[np.clip(place - 1, 0, other_ms.size - 1)])
    after = np.abs(other_ms[np.clip(place, 0, other_ms.size - 1)] - at_ms)
    return np.asarray(np.minimum(before, after) > _APART_MS)


def _same_sound(sound: _Recording, click_ms: FloatArray, knock_ms: FloatArray) -> bool:
    """Whether the average knock is the average click, at any shift of up to 3 ms."""
    one, two = (_average(sound, _placed(sound, times, None)) for times in (click_ms, knock_ms))
    size = float(np.sqrt(np.sum(one**2) * np.sum(two**2)))
    return size > 0 and float(np.max(np.correlate(one, two, "full"))) / size > _ALIKE


def _average(sound: _Recording, at_ms: FloatArray) -> FloatArray:
    """Mean of the 15 ms after each moment."""
    length = round(0.015 * sound.rate_hz)
    starts = np.rint(at_ms * sound.rate_hz / 1000).astype(np.int64)
    starts = starts[(starts >= 0) & (starts + length <= sound.wave.size)]
    return np.asarray(np.mean([sound.wave[s : s + length] for s in starts.tolist()], axis=0))


def _placed(sound: _Recording, about_ms: FloatArray, known: FloatArray | None) -> FloatArray:
    """Where each event begins, ms in the recording, given that it is within some milliseconds of ``about_ms``."""
    if known is None:
        return np.array([_onset(sound, at) for at in about_ms.tolist()])
    pattern = _without_rumble(np.asarray(known, dtype=np.float64), sound.rate_hz)
    return np.array([_by_pattern(sound, at, pattern) for at in about_ms.tolist()])


def _stretch(sound: _Recording, from_ms: float, to_ms: float) -> tuple[int, FloatArray]:
    """First sample and samples between two moments, as far as the recording goes."""
    first = max(0, round(from_ms * sound.rate_hz / 1000))
    return first, sound.wave[first : max(first, round(to_ms * sound.rate_hz / 1000))]


def _onset(sound: _Recording, about_ms: float) -> float:
    """The sample at which one power most likely ends and another begins."""
    first, piece = _stretch(sound, about_ms - 8.0, about_ms + 6.0)
    edge = 16  # a power needs some samples
    if piece.size < 4 * edge:
        return about_ms
    total = np.cumsum(piece**2) + 1e-18
    k = np.arange(edge, piece.size - edge)
    before, after = total[k - 1] / k, (total[-1] - total[k - 1]) / (piece.size - k)
    cost = k * np.log(before) + (piece.size - k) * np.log(np.maximum(after, 1e-18))
    return float((first + k[np.argmin(cost)]) * 1000 / sound.rate_hz)


def _by_pattern(sound: _Recording, about_ms: float, pattern: FloatArray) -> float:
    """Where a known sound fits best, between samples by the parabola through the three best."""
    length_ms = pattern.size * 1000 / sound.rate_hz
    first, piece = _stretch(sound, about_ms - 6.0, about_ms + 6.0 + length_ms)
    if piece.size < pattern.size + 3:
        return about_ms
    fit = np.correlate(piece, pattern, "valid")
    best = int(np.clip(np.argmax(np.abs(fit)), 1, fit.size - 2))
    left, middle, right = np.abs(fit[best - 1 : best + 2])
    bend = left - 2 * middle + right
    part = 0.0 if bend == 0 else float(np.clip(0.5 * (left - right) / bend, -1.0, 1.0))
    return (first + best + part) * 1000 / sound.rate_hz


def _fit(click_ms: FloatArray, click_lag: FloatArray, knock_ms: FloatArray, knock_lag: FloatArray) -> Delay | Declined:
    """The difference of two levels with one common slope; wild values are left out."""
    x, y = np.concatenate([click_ms, knock_ms]), np.concatenate([click_lag, knock_lag])
    is_click = np.arange(x.size) < click_ms.size
    kinds = (("click", is_click), ("knock", ~is_click))
    table = np.column_stack([is_click, ~is_click, x - np.mean(x)]).astype(np.float64)
    keep = np.ones(x.size, np.bool_)
    rest = y - np.where(is_click, np.median(click_lag), np.median(knock_lag))
    for _ in range(4):
        spread = np.empty_like(y)
        for _, which in kinds:
            spread[which] = max(MAD_TO_SD * float(np.median(np.abs(rest[keep & which]))), 0.02)
        keep = np.abs(rest) <= 4 * spread
        weighted = table[keep] / spread[keep, None]
        # The last row says beforehand that quartz is within `_MOST_DRIFT`: twenty knocks in a second know no better.
        known = np.linalg.inv(weighted.T @ weighted + np.diag([0.0, 0.0, _MOST_DRIFT**-2]))
        values = known @ weighted.T @ (y[keep] / spread[keep])
        rest = y - table @ values
    for name, which in kinds:
        if np.count_nonzero(keep & which) < NEEDED:
            return Declined(f"too few {name}s agree with each other: knock firmly, one knock at a time")
    delay, contrast, kept = float(values[0] - values[1]), np.array([1.0, -1.0, 0.0]), keep & ~is_click
    if delay < _LEAST_MS:
        return Declined(
            f"a delay of {delay:.0f} ms is impossible: the microphone heard something else than click and knock"
        )
    half_width = float(np.hypot(1.96 * np.sqrt(contrast @ known @ contrast), _FLOOR_MS))
    return Delay(MICROPHONE, delay, half_width, int(np.count_nonzero(kept)), float(np.std(rest[kept])))
