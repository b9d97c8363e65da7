"""Simulated recordings of clicks and knocks whose delay is known."""

from dataclasses import dataclass, field

import numpy as np

from heeltap.gear.delay import irregular_us
from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["RATE_HZ", "Scene", "a_click", "a_knock"]

RATE_HZ = 48_000.0


def a_click(rate_hz: float = RATE_HZ) -> FloatArray:
    """A short struck-wood tone: 1,900 Hz, gone after 20 ms, peak near 1."""
    t = np.arange(round(0.03 * rate_hz)) / rate_hz
    return np.sin(2 * np.pi * 1900 * t) * np.exp(-t / 0.006)


def a_knock(rng: np.random.Generator, rate_hz: float = RATE_HZ) -> FloatArray:
    """A thud of a finger on a pad: a low tone with noise, never twice the same."""
    t = np.arange(round(0.05 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * rng.uniform(250, 450) * t) * np.exp(-t / 0.012)
    return 0.6 * tone + 0.5 * rng.standard_normal(t.size) * np.exp(-t / 0.004)


@dataclass(frozen=True, slots=True)
class Scene:
    """What is recorded."""

    output_ms: float = 31.3
    """From sending a click to hearing it (O)."""
    input_ms: float = 4.6
    """From a knock to its stamp (I)."""
    microphone_ms: float = 87.2
    """Latency of the recording (M)."""
    snr_db: float = 20.0
    """Power of the first 5 ms of each event over the power of the noise."""
    drift: float = 40e-6
    """How much faster the recorder's clock runs."""
    clicks: int = 24
    knocks: int | None = None
    """None: one after each click but the last."""
    knock_gain: float = 1.0
    stamp_jitter_ms: float = 0.3
    click_jitter_ms: float = 0.0
    echo: float = 0.0
    """Loudness of a second knock 45 ms later: the pad's own sound."""
    on_the_click: bool = False
    """Knock along with the clicks instead of between them."""
    same_sound: bool = False
    """The knock sounds like the click."""
    bangs: int = 0
    """Other noises, as loud as a knock, at random moments."""
    room: float = 0.0
    """Loudness of a room's echoes beside the direct sound, dying away by 60 dB in 0.4 s."""
    hum: float = 0.0
    """Loudness of mains hum at 50 Hz."""
    gain: float = 0.1
    rate_hz: float = RATE_HZ
    seed: int = field(default=1)

    @property
    def delay_ms(self) -> float:
        """What is to be found."""
        return self.output_ms + self.input_ms

    def record(self) -> tuple[FloatArray, float, IntArray, IntArray]:
        """The recording, its rate, when the clicks were sent and the knocks stamped."""
        rng = np.random.default_rng(self.seed)
        sent = 400_000 + irregular_us(self.clicks, shortest_us=700_000, longest_us=1_300_000, rng=rng)
        struck = self._struck(sent, rng)
        stamps = struck + 1000 * self.input_ms + 1000 * self.stamp_jitter_ms * rng.standard_normal(struck.size)
        length_s = sent[-1] / 1e6 + 2.0
        wave = np.zeros(round(length_s * self.rate_hz))
        wobble = self.click_jitter_ms * rng.uniform(-1, 1, sent.size)
        for at in sent / 1000 + self.output_ms + wobble:
            self._add(wave, at, _levelled(a_click(self.rate_hz), self.rate_hz))
        for at in struck / 1000:
            sound = a_click(self.rate_hz) if self.same_sound else a_knock(rng, self.rate_hz)
            self._add(wave, at, self.knock_gain * _levelled(sound, self.rate_hz))
            if self.echo:
                self._add(wave, at + 45, self.echo * _levelled(a_knock(rng, self.rate_hz), self.rate_hz))
        for at in rng.uniform(0, 1000 * length_s - 500, self.bangs):
            self._add(wave, at, _levelled(a_knock(rng, self.rate_hz), self.rate_hz))
        if self.room:
            wave += _echoes(wave, self.room, self.rate_hz, rng)
        wave += 10 ** (-self.snr_db / 20) * rng.standard_normal(wave.size)
        wave += self.hum * np.sin(2 * np.pi * 50 * np.arange(wave.size) / self.rate_hz)
        return self.gain * wave, self.rate_hz, sent, np.sort(np.rint(stamps)).astype(np.int64)

    def _struck(self, sent: IntArray, rng: np.random.Generator) -> FloatArray:
        """When the pad is hit, microseconds."""
        if self.on_the_click:
            return sent + 1000 * self.output_ms + rng.normal(-5_000, 8_000, sent.size)
        count = self.clicks - 1 if self.knocks is None else self.knocks
        at = sent[:-1] + rng.uniform(250_000, 600_000, sent.size - 1)
        return np.asarray(at[:count])

    def _add(self, wave: FloatArray, at_ms: float, sound: FloatArray) -> None:
        """Add a sound to the recording, between samples."""
        at = (at_ms + self.microphone_ms) * (1 + self.drift) * self.rate_hz / 1000
        first = int(np.ceil(at))
        steps = np.arange(first, min(first + sound.size, wave.size))
        wave[steps] += np.interp(steps - at, np.arange(sound.size), sound)


def _echoes(wave: FloatArray, loudness: float, rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """What the walls send back from 3 ms on; ``loudness`` is the power of all echoes beside that of the direct sound."""
    t = np.arange(round(0.4 * rate_hz)) / rate_hz
    walls = rng.standard_normal(t.size) * 10 ** (-3 * t / 0.4) * (t >= 0.003)
    walls *= np.sqrt(loudness / np.sum(walls**2))
    size = 1 << int(np.ceil(np.log2(wave.size + walls.size)))
    both = np.fft.rfft(wave, size) * np.fft.rfft(walls, size)
    return np.asarray(np.fft.irfft(both, size)[: wave.size])


def _levelled(sound: FloatArray, rate_hz: float) -> FloatArray:
    """The sound with a mean power of 1 in its first 5 ms."""
    return np.asarray(sound / np.sqrt(np.mean(sound[: round(0.005 * rate_hz)] ** 2)))
