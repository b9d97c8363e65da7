"""A schedule as samples: short bursts of our own for clicks and drums, tones for notes that are played, each beginning
at exactly its sample. Pure arithmetic.

A click that is due at ``t`` microseconds begins at sample ``round(t * rate)`` after bar 1, beat 1, whatever the size of
the blocks in which the samples are asked for. Samples are float64 of one channel; full scale is 1, and nothing goes beyond half
of it.

Inside: `Mixer`, `render`, `burst`, `wav_bytes`, `wav_parts`, `wav_of`, `pressed`, `RATE_HZ`, `CEILING`.
"""

import struct
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.messages import PLAYED, Schedule
from heeltap.model.mix import LOUDEST, is_part, voice_of
from heeltap.sound.percussion import METRONOME, SIDE_STICK, WOOD_BLOCK
from heeltap.sound.tones import fade, is_tone, released_us, tone
from heeltap.write import MADE_BY

__all__ = ["CEILING", "RATE_HZ", "Mixer", "burst", "pressed", "render", "wav_bytes", "wav_of", "wav_parts"]

RATE_HZ = 48_000
"""Of files."""

CEILING = 0.5
"""Nothing is louder: 6 dB below full scale."""

_KNEE = 0.42
"""Up to here samples stay as they are; what lies beyond is pressed in below the ceiling, so that nothing is cut off."""

_LOUDEST = 0.42
"""A stroke of velocity 127."""

_STRUCK = 0.168
"""A played stroke on percussion: two at once beside a middling click stay below the knee."""

_PITCHED = 0.084
"""A played note with a pitch: a chord of four at velocity 100 beside a middling click stays below the knee."""

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


class _Sound(NamedTuple):
    """One stroke."""

    wave: FloatArray
    gain: float
    size: int
    """Samples of the wave that sound."""
    fade: FloatArray
    """Factors on the last of them; empty for a burst, which ends by itself."""
    voice: str
    """Of `heeltap.model.mix`; empty for one that no mix makes louder or softer."""

    def part(self, first: int, last: int, percent: int) -> FloatArray:
        """Its samples from ``first`` to before ``last``, at so many per cent."""
        gain = self.gain if percent == LOUDEST else self.gain * percent / LOUDEST
        samples: FloatArray = gain * self.wave[first:last]
        begin = self.size - self.fade.size
        if self.fade.size and last > begin:
            samples[max(begin - first, 0) :] *= self.fade[max(first - begin, 0) : last - begin]
        return samples


class Mixer:
    """The strokes of a schedule, ready to be asked for any stretch of samples."""

    def __init__(self, schedule: Schedule, rate_hz: int, *, rng: np.random.Generator | None = None) -> None:
        """Make every sound once.

        Parameters
        ----------
        schedule : Schedule
            Its note-ons sound; those of kind ``played`` outside channel 10 with their pitch and until they are let go.
            Nothing else is heard.
        rate_hz : int
            Samples a second.
        rng : numpy Generator, optional
            For the noise; by default one that always begins alike.
        """
        rows = [
            row
            for row, message in enumerate(schedule.messages)
            if len(message) == 3 and message[0] & 0xF0 == 0x90 and message[2] > 0
        ]
        self.frame: IntArray = as_ints(_frame(due, rate_hz) for due in schedule.due_us[as_ints(rows)].tolist())
        """First sample of each stroke, from bar 1, beat 1; not decreasing."""
        self._sounds = _sounds(schedule, rows, rate_hz, np.random.default_rng(0) if rng is None else rng)
        stops = self.frame + as_ints(sound.size for sound in self._sounds)
        self.levels: Mapping[str, int] = {}
        """How loud each voice sounds, per cent; a stroke keeps what holds when it begins. A voice that is not in it is at 100."""
        self._struck_at: dict[int, int] = {}
        """Per cent of the strokes that have begun."""
        self._over: IntArray = np.maximum.accumulate(stops)
        """The sample by which this stroke and all before it are over."""

    @property
    def end(self) -> int:
        """The sample after the last sound; 0 where there is none."""
        return int(self._over[-1]) if self._over.size else 0

    def block(self, first: int, count: int) -> FloatArray:
        """``count`` samples from sample ``first`` after bar 1, beat 1 (negative in the count-in).

        Blocks of any size put together give the same samples to the last bit: strokes are added in order.
        """
        out = np.zeros(count)
        for i in self._between(first, first + count):
            begin, sound = int(self.frame[i]) - first, self._sounds[i]
            left, right = max(begin, 0), min(begin + sound.size, count)
            percent = self._percent(i, begins=begin >= 0) if left < right else 0
            if percent:
                out[left:right] += sound.part(left - begin, right - begin, percent)
        return pressed(out)

    def _percent(self, i: int, *, begins: bool) -> int:
        """How loud a stroke is: as the mix has its voice when it begins."""
        if begins or i not in self._struck_at:
            self._struck_at[i] = self.levels.get(self._sounds[i].voice, LOUDEST)
        return self._struck_at[i]

    def sounding(self, at: int) -> bool:
        """Whether a stroke that began before this sample still sounds in it."""
        return any(self.frame[i] + self._sounds[i].size > at for i in self._between(at, at))

    def _between(self, first: int, last: int) -> range:
        """The strokes that may sound from ``first`` to before ``last``."""
        low = int(np.searchsorted(self._over, first, side="right"))
        return range(low, int(np.searchsorted(self.frame, last, side="left")))


def pressed(samples: FloatArray) -> FloatArray:
    """Samples with what lies beyond the knee bent in below the ceiling, smoothly (a hyperbolic tangent; ours)."""
    size, room = np.abs(samples), CEILING - _KNEE
    if size.max(initial=0.0) <= _KNEE:
        return samples
    bent = np.sign(samples) * (_KNEE + room * np.tanh((size - _KNEE) / room))
    return np.where(size > _KNEE, bent, samples)


def _sounds(schedule: Schedule, rows: list[int], rate_hz: int, rng: np.random.Generator) -> list[_Sound]:
    """The sound of each stroke, every wave made once."""
    which = [(is_tone(schedule.kind[row], schedule.messages[row]), schedule.messages[row][1]) for row in rows]
    waves = {
        (pitched, key): tone(key, rate_hz) if pitched else burst(key, rate_hz, rng)
        for pitched, key in sorted(set(which))
    }
    ends = released_us(schedule) if any(pitched for pitched, _ in which) else {}
    window, none = fade(rate_hz), np.zeros(0)
    found = []
    for row, (pitched, key) in zip(rows, which, strict=True):
        wave, velocity = waves[pitched, key], schedule.messages[row][2]
        kind = schedule.kind[row]
        loudest = _PITCHED if pitched else _STRUCK if kind == PLAYED or is_part(kind) else _LOUDEST
        size = wave.size
        if pitched and row in ends:
            held = _frame(ends[row], rate_hz) - _frame(int(schedule.due_us[row]), rate_hz)
            size = min(size, held + window.size)
        found.append(_Sound(wave, loudest * velocity / 127, size, window if pitched else none, voice_of(kind)))
    return found


def _frame(due_us: int, rate_hz: int) -> int:
    """The sample of a moment, rounded half up."""
    return (due_us * rate_hz * 2 + 1_000_000) // 2_000_000


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
    """Samples as a WAV file of one channel and 16 bits, which says that heeltap made it."""
    return b"".join(wav_of([samples], samples.size, rate_hz))


def wav_parts(schedule: Schedule, rate_hz: int) -> Iterator[bytes]:
    """A schedule as a WAV file in pieces, so that a long one needs no more memory than a short one; as `render` begins and ends.

    Parameters
    ----------
    schedule : Schedule
    rate_hz : int
        Samples a second.

    Yields
    ------
    bytes
        The file's head, which says that heeltap made it, then a second of sound at a time.
    """
    mixer = Mixer(schedule, rate_hz)
    first = min(int(mixer.frame[0]) if mixer.frame.size else 0, 0)
    last = max(schedule.end_us * rate_hz // 1_000_000, mixer.end)
    blocks = (mixer.block(at, min(rate_hz, last - at)) for at in range(first, last, rate_hz))
    return wav_of(blocks, last - first, rate_hz)


def wav_of(blocks: Iterable[FloatArray], size: int, rate_hz: int) -> Iterator[bytes]:
    """The head of the file, then its samples (RIFF, from memory): a list of texts, of which ISFT names the software, the format,
    the data."""
    text = MADE_BY.encode() + b"\0" * (2 - len(MADE_BY) % 2)
    info = b"INFOISFT" + len(text).to_bytes(4, "little") + text
    form = struct.pack("<HHIIHH", 1, 1, rate_hz, 2 * rate_hz, 2, 16)
    body = b"WAVEfmt " + struct.pack("<I", len(form)) + form + b"LIST" + struct.pack("<I", len(info)) + info
    yield b"RIFF" + struct.pack("<I", len(body) + 8 + 2 * size) + body + b"data" + struct.pack("<I", 2 * size)
    for block in blocks:
        yield np.rint(np.clip(block, -1.0, 1.0) * 32_767).astype("<i2").tobytes()
