"""A schedule with the instruments of a sound font as samples: each message takes effect at exactly its sample.

How soon an instrument speaks is the font's matter; heeltap's own tones (`heeltap.sound.render`) are the ones to judge time by.

Inside: `font_parts`, `installed_font`.
"""

import importlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from heeltap.errors import InputFileError
from heeltap.model.messages import Schedule
from heeltap.sound.percussion import CHANNEL
from heeltap.sound.render import pressed, wav_of
from heeltap.sound.tones import is_tone

__all__ = ["font_parts", "installed_font"]

_FOLDERS = ("/usr/share/sounds/sf2", "/usr/share/soundfonts", "/usr/local/share/soundfonts")
"""Where systems keep them."""

_RING_S = 2
"""What still rings after the last bar."""

_GAIN_DB = -9.0
"""Of the synthesizer: a chord and a kit stay below the ceiling in most fonts. Ours."""


def installed_font() -> Path | None:
    """The first General MIDI sound font that the system has; None where it has none."""
    for folder in _FOLDERS:
        found = sorted(Path(folder).glob("*.sf2")) if Path(folder).is_dir() else []
        if found:
            return found[0]
    return None


def font_parts(schedule: Schedule, font: Path, rate_hz: int) -> Iterator[bytes]:
    """A schedule as a WAV file in pieces, as `heeltap.sound.render.wav_parts`, with real instruments.

    Parameters
    ----------
    schedule : Schedule
    font : Path
        A sound font (``.sf2``).
    rate_hz : int
        Samples a second.

    Yields
    ------
    bytes

    Raises
    ------
    InputFileError
        The font cannot be read, or nothing that plays fonts is installed.
    """
    synth = _synth(font, rate_hz)
    first = min(int(schedule.due_us[0]) if len(schedule) else 0, 0)
    size = max(schedule.end_us - first, 0) * rate_hz // 1_000_000 + _RING_S * rate_hz
    return wav_of(_blocks(synth, schedule, first, size, rate_hz), size, rate_hz)


def _blocks(synth: Any, schedule: Schedule, first_us: int, size: int, rate_hz: int) -> Iterator[np.ndarray]:
    """A second of sound at most at a time, cut where a message takes effect."""
    at = 0
    for due, message, kind in zip(schedule.due_us.tolist(), schedule.messages, schedule.kind, strict=True):
        frame = (due - first_us) * rate_hz // 1_000_000
        while at < min(frame, size):
            count = min(rate_hz, frame - at, size - at)
            yield _mono(synth, count)
            at += count
        _send(synth, message, kind)
    while at < size:
        count = min(rate_hz, size - at)
        yield _mono(synth, count)
        at += count


def _mono(synth: Any, count: int) -> np.ndarray:
    stereo = np.frombuffer(synth.generate(count), dtype=np.float32).astype(np.float64)
    return pressed(stereo.reshape(-1, 2).mean(axis=1))


def _send(synth: Any, message: bytes, kind: str) -> None:
    """Notes and the pedal; a click on any channel is percussion."""
    code, channel = message[0] & 0xF0, message[0] & 0x0F
    if code == 0x90 and message[2] and not is_tone(kind, message):
        channel = CHANNEL
    if code == 0x90 and message[2]:
        synth.noteon(channel, message[1], message[2])
    elif code in (0x80, 0x90):
        synth.noteoff(channel, message[1])
    elif code == 0xB0 and message[1] == 64:
        synth.control_change(channel, 64, message[2])


def _synth(font: Path, rate_hz: int) -> Any:
    """A synthesizer with the font: a piano on every channel, the kit on channel 10."""
    try:
        library = importlib.import_module("tinysoundfont")
    except ImportError as error:
        hint = "pip install 'heeltap[sounds]'"
        raise InputFileError(str(font), "nothing that plays sound fonts is installed", "tinysoundfont", hint) from error
    synth = library.Synth(gain=_GAIN_DB, samplerate=rate_hz)
    try:
        number = synth.sfload(str(font))
        for channel in range(16):
            synth.program_select(channel, number, 128 if channel == CHANNEL else 0, 0, channel == CHANNEL)
    except Exception as error:  # the library raises its own kinds for what it cannot read
        raise InputFileError(str(font), "cannot be read as a sound font", "a General MIDI font (.sf2)") from error
    return synth
