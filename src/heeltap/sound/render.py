"""A schedule as samples: short bursts of our own, each beginning at exactly its sample. Pure arithmetic.

A click that is due at ``t`` microseconds begins at sample ``round(t * rate)`` after bar 1, beat 1, whatever the size of
the blocks in which the samples are asked for. Samples are float64 of one channel, full scale is 1.

Inside: `Mixer`, `render`, `burst`, `wav_bytes`, `RATE_HZ`.
"""

import io
import wave

import numpy as np

from heeltap.core.arrays import FloatArray, IntArray, as_ints
from heeltap.ports.schedule import Schedule
from heeltap.sound.percussion import METRONOME, SIDE_STICK, WOOD_BLOCK

__all__ = ["RATE_HZ", "Mixer", "burst", "render", "wav_bytes"]

RATE_HZ = 48_000
"""Of files."""

_LOUDEST = 0.6
"""A stroke of velocity 127: three at once reach full scale and are cut off there."""

_TONES = {
    METRONOME[0]: (1_200.0, 0.010),
    METRONOME[1]: (1_800.0, 0.014),
    WOOD_BLOCK[0]: (1_100.0, 0.010),
    WOOD_BLOCK[1]: (1_650.0, 0.012),
    SIDE_STICK[0]: (1_400.0, 0.006),
    35: (55.0, 0.060),
    36: (60.0, 0.060),
    41: (90.0, 0.090),
    43: (100.0, 0.090),
    45: (120.0, 0.080),
    47: (150.0, 0.080),
    48: (180.0, 0.070),
    50: (210.0, 0.070),
}
"""Frequency in hertz and decay to 1/e in seconds, by key."""

_NOISES = {
    38: (0.035, 190.0),
    39: (0.020, 0.0),
    40: (0.035, 210.0),
    42: (0.012, 0.0),
    44: (0.010, 0.0),
    46: (0.080, 0.0),
    49: (0.250, 0.0),
    51: (0.150, 0.0),
    57: (0.250, 0.0),
    59: (0.150, 0.0),
}
"""Decay of the noise in seconds and the tone under it in hertz, 0 for none, by key."""

_ANY = (900.0, 0.015)

_DECAYS = 6.0
"""A burst is cut off after so many decays, at 0.25 % of its beginning."""


def burst(key: int, rate_hz: int, rng: np.random.Generator) -> FloatArray:
    """The sound of a percussion key: a decaying tone or noise whose first sample is its loudest or near it.

    ``rng`` makes the noise. Sounds are ours; keys that have none of their own sound alike.
    """
    if key not in _NOISES:
        tone_hz, decay_s = _TONES.get(key, _ANY)
        t = np.arange(round(_DECAYS * decay_s * rate_hz)) / rate_hz
        return np.asarray(np.cos(2 * np.pi * tone_hz * t) * np.exp(-t / decay_s))
    decay_s, tone_hz = _NOISES[key]
    t = np.arange(round(_DECAYS * decay_s * rate_hz)) / rate_hz
    noise = np.diff(rng.uniform(-0.5, 0.5, t.size + 1))  # the difference takes the low end out
    noise[0] = 1.0
    tone = 0.5 * np.cos(2 * np.pi * tone_hz * t) if tone_hz else 0.0
    return np.asarray((noise + tone) * np.exp(-t / decay_s) / (1.5 if tone_hz else 1.0))


class Mixer:
    """The strokes of a schedule, ready to be asked for any stretch of samples."""

    def __init__(self, schedule: Schedule, rate_hz: int, *, rng: np.random.Generator | None = None) -> None:
        """Make every sound once.

        Parameters
        ----------
        schedule : Schedule
            Its note-ons sound; note-offs and everything else do not.
        rate_hz : int
            Samples a second.
        rng : numpy Generator, optional
            For the noise; by default one that always begins alike.
        """
        source = np.random.default_rng(0) if rng is None else rng
        rows = [
            (due, message[1], message[2])
            for due, message in zip(schedule.due_us.tolist(), schedule.messages, strict=True)
            if len(message) == 3 and message[0] & 0xF0 == 0x90 and message[2] > 0
        ]
        waves = {key: burst(key, rate_hz, source) for key in sorted({row[1] for row in rows})}
        self.frame: IntArray = as_ints((due * rate_hz * 2 + 1_000_000) // 2_000_000 for due, _, _ in rows)
        """First sample of each stroke, from bar 1, beat 1; not decreasing."""
        self._wave = [waves[key] for _, key, _ in rows]
        self._gain = [_LOUDEST * velocity / 127 for _, _, velocity in rows]
        self._longest = max((wave.size for wave in waves.values()), default=0)

    @property
    def end(self) -> int:
        """The sample after the last sound; 0 where there is none."""
        return max((at + sound.size for at, sound in zip(self.frame.tolist(), self._wave, strict=True)), default=0)

    def block(self, first: int, count: int) -> FloatArray:
        """``count`` samples from sample ``first`` after bar 1, beat 1 (negative in the count-in).

        Blocks of any size put together give the same samples to the last bit: strokes are added in order.
        """
        out = np.zeros(count)
        low = int(np.searchsorted(self.frame, first - self._longest, side="right"))
        high = int(np.searchsorted(self.frame, first + count, side="left"))
        for i in range(low, high):
            begin, wave = int(self.frame[i]) - first, self._wave[i]
            left, right = max(begin, 0), min(begin + wave.size, count)
            if left < right:
                out[left:right] += self._gain[i] * wave[left - begin : right - begin]
        return np.clip(out, -1.0, 1.0)

    def sounding(self, at: int) -> bool:
        """Whether a stroke that began before this sample still sounds in it."""
        low = int(np.searchsorted(self.frame, at - self._longest, side="right"))
        high = int(np.searchsorted(self.frame, at, side="left"))
        return any(self.frame[i] + self._wave[i].size > at for i in range(low, high))


def render(schedule: Schedule, rate_hz: int) -> tuple[FloatArray, int]:
    """A whole schedule as samples, and which of them is bar 1, beat 1.

    The samples begin with the first message, or at bar 1 where that comes first, and end with the last bar or the last
    sound.
    """
    mixer = Mixer(schedule, rate_hz)
    first = min(int(mixer.frame[0]) if mixer.frame.size else 0, 0)
    last = max(schedule.end_us * rate_hz // 1_000_000, mixer.end)
    return mixer.block(first, last - first), -first


def wav_bytes(samples: FloatArray, rate_hz: int) -> bytes:
    """Samples as a WAV file of one channel and 16 bits."""
    target = io.BytesIO()
    with wave.open(target, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate_hz)
        file.writeframes(np.rint(np.clip(samples, -1.0, 1.0) * 32_767).astype("<i2").tobytes())
    return target.getvalue()
