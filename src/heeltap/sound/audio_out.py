"""The click from the computer's own sound: an output like a MIDI port, whose sounds are worked out by their samples.

Nothing here is scheduled by `AudioOut.send`: what is due is known before the first click, so the strokes are put into the
stream by the number of their sample. ``send`` only obeys "all sound off". The sound system asks for samples in a thread
of its own, in the engine's process, never in the one that draws.

The strokes keep their distance to the sample while the sound card's clock and ours agree within `_FOLLOW_S`; then all
that is still to come is moved at once, where nothing sounds.

Inside: `AudioOut`, `AudioOutput`, `Feeder`, `AUDIO`, `is_audio`, `audio_found`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from heeltap.devices.quiet import quiet_stderr
from heeltap.errors import PortError, sentence
from heeltap.model.arrays import FloatArray
from heeltap.model.messages import Schedule
from heeltap.sound.render import Mixer
from heeltap.sound.stream_time import StreamTime

__all__ = ["AUDIO", "AudioOut", "AudioOutput", "Feeder", "audio_found", "is_audio"]

AUDIO = "audio"
"""Name of the computer's own sound as an output; ``audio:NAME`` is one of its devices."""

_FOLLOW_S = 0.0005
"""Half a millisecond: a tenth of what can be told apart, and twenty seconds at 25 ppm."""

_FORCE_S = 0.005
"""So far off the strokes are moved even while something sounds."""


def is_audio(name: str) -> bool:
    """Whether the name of an output means the computer's own sound."""
    return name == AUDIO or name.startswith(AUDIO + ":")


def audio_found() -> bool:
    """Whether this computer has a sound output that can be opened: PortAudio is there, and a device takes what we send.

    Costs some 0.1 s where it must load the sound library.
    """
    with quiet_stderr():  # the sound systems complain of each other there
        try:
            library = _library()
        except PortError:
            return False
        try:
            found = library.query_devices(None, "output")
            channels = min(2, int(found["max_output_channels"]))
            library.check_output_settings(found["index"], channels, "float32")
        except (ValueError, library.PortAudioError):
            return False
    return True


class Feeder:
    """Answers the sound system's questions for samples; knows no device."""

    def __init__(self, schedule: Schedule, rate_hz: int) -> None:
        self._mixer, self._rate_hz = Mixer(schedule, rate_hz), rate_hz
        self._levels: Mapping[str, int] = {}
        self.time = StreamTime(rate_hz)
        self.frame = 0
        """Samples handed over so far."""
        self.zero: int | None = None
        """The sample of the stream that is bar 1, beat 1; None before that is known."""
        self.moves = 0
        """How often the strokes still to come were moved, because the two clocks had come apart."""
        self.lag_us = 0
        """How much later than they should the strokes of the last block are heard."""
        self.silent = False
        self._zero_ns: int | None = None

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Bar 1, beat 1 is to be heard at this moment, and this is what sounds from now on; None is what it was."""
        if schedule is not None:
            self._zero_ns = None  # silence, while the other thread may ask
            self._mixer, self.zero, self.silent = Mixer(schedule, self._rate_hz), None, False
            self._mixer.levels = self._levels
        self._zero_ns = zero_ns

    def mix(self, levels: Mapping[str, int]) -> None:
        """Each voice sounds at so many per cent from its next stroke on."""
        self._levels = self._mixer.levels = levels

    def feed(self, count: int, asked_ns: int, lead_ns: float) -> FloatArray | None:
        """The next samples; None for silence.

        Parameters
        ----------
        count : int
            So many.
        asked_ns, lead_ns
            As in `heeltap.sound.stream_time.StreamTime.hear`.
        """
        first, self.frame = self.frame, self.frame + count
        self.time.hear(first, asked_ns, lead_ns)
        if self._zero_ns is None or self.silent:
            return None
        self._place(first, self.time.frame_at(self._zero_ns))
        return self._mixer.block(first - (self.zero or 0), count)

    def _place(self, first: int, wanted: float) -> None:
        """Say which sample is bar 1, beat 1, and follow when the clocks have come apart."""
        if self.zero is None or not self._begun(first - self.zero):
            self.zero = round(wanted)
        off_s = abs(wanted - self.zero) / self._rate_hz
        calm = not self._mixer.sounding(first - self.zero)
        if off_s > _FORCE_S or (off_s > _FOLLOW_S and calm):
            self.zero = round(wanted)
            self.moves += 1
        self.lag_us = round((self.zero - wanted) / self._rate_hz * 1e6)

    def _begun(self, at: int) -> bool:
        """Whether the first stroke lies before this sample."""
        return bool(self._mixer.frame.size) and int(self._mixer.frame[0]) < at


class AudioOut:
    """The computer's own sound as an output."""

    def __init__(self, schedule: Schedule, now_ns: Callable[[], int], device: str = "") -> None:
        """Open the device and let it run, silent until `begin`.

        Parameters
        ----------
        schedule : Schedule
            What will sound.
        now_ns : callable
            The engine's clock.
        device : str
            Name or part of a name; the system's own choice where empty.

        Raises
        ------
        PortError
            sounddevice is not installed, there is no sound library, or no such device.
        """
        library = _library()
        where = f"sound output '{device}'" if device else "sound output"
        try:
            found = library.query_devices(device or None, "output")
            rate_hz = round(found["default_samplerate"])
            self.name = f"{AUDIO}:{found['name']}"
            self.feeder = Feeder(schedule, rate_hz)
            self.holes = 0
            """How often the system ran out of samples."""
            self._now_ns = now_ns
            self._stream = library.OutputStream(
                device=found["index"],
                channels=min(2, int(found["max_output_channels"])),
                samplerate=rate_hz,
                dtype="float32",
                latency="low",
                callback=self._answer,
            )
            self._stream.start()
        except (ValueError, library.PortAudioError) as error:
            hint = "python -m sounddevice lists what there is"
            raise PortError(sentence(where, f"cannot be opened: {error}", "a sound output", hint)) from error

    def _answer(self, out: Any, count: int, time: Any, status: Any) -> None:
        """Fill one block; runs in the sound system's thread."""
        asked_ns = self._now_ns()
        self.holes += bool(status.output_underflow)
        lead_s = time.outputBufferDacTime - time.currentTime
        if not 0 < lead_s < 2:  # some systems do not say
            lead_s = float(self._stream.latency)
        samples = self.feeder.feed(count, asked_ns, lead_s * 1e9)
        out[:] = 0 if samples is None else samples[:, None]

    @property
    def lag_us(self) -> int:
        """How much later than they should the strokes are heard now, as far as the system says."""
        return self.feeder.lag_us

    def begin(self, zero_ns: int, schedule: Schedule | None = None) -> None:
        """Bar 1, beat 1 is to be heard at this moment, and this is what sounds from now on; None is what it was."""
        self.feeder.begin(zero_ns, schedule)

    def mix(self, levels: Mapping[str, int]) -> None:
        """Each voice sounds at so many per cent from its next stroke on."""
        self.feeder.mix(levels)

    def send(self, message: bytes) -> None:
        """Be silent at "all sound off" and "all notes off"; everything else is in the schedule."""
        if message[0] & 0xF0 == 0xB0 and message[1] in (120, 123):
            self.feeder.silent = True

    def connected(self) -> bool:
        """Whether the system still takes samples."""
        return bool(self._stream.active)

    def returned(self) -> bool:
        """Never: a lost sound device is not taken back in the middle of a take."""
        return False

    def close(self) -> None:
        """Silence at once, and let go of the device; a second call does nothing."""
        self.feeder.silent = True
        self._stream.abort()
        self._stream.close()


@dataclass(frozen=True, slots=True, eq=False)
class AudioOutput:
    """What the engine needs to open the sound in its own process."""

    name: str
    """``audio`` or ``audio:DEVICE``."""

    def __call__(self, schedule: Schedule, now_ns: Callable[[], int]) -> AudioOut:
        """Open it; raises `PortError`."""
        return AudioOut(schedule, now_ns, self.name.removeprefix(AUDIO).removeprefix(":"))


def _library() -> Any:
    """The module sounddevice; raises `PortError` with the way to install it."""
    try:
        import sounddevice
    except ImportError:
        hint = "pip install sounddevice"
        raise PortError(sentence("sound output", "sounddevice is not installed", hint=hint)) from None
    except OSError as error:  # the Python half is there, the C library is not
        hint = "on Debian: apt install libportaudio2"
        raise PortError(sentence("sound output", f"no sound library: {error}", "PortAudio", hint)) from None
    return sounddevice
