"""Give what is to be heard to somebody: as a WAV file, or through the output in use.

Inside: `check_wav`, `write_wav`, `play`.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from heeltap.app.listen.hear import Listening
from heeltap.app.listen.playback import Playback
from heeltap.app.listen.player_control import sound_in_use
from heeltap.clock import Clock, SystemClock
from heeltap.errors import InputFileError, PortError, sentence
from heeltap.sound.fonts import font_parts, installed_font
from heeltap.sound.render import RATE_HZ, wav_bytes, wav_parts
from heeltap.sound.stretches import slower
from heeltap.write import check_asked, write_whole

__all__ = ["check_wav", "play", "write_wav"]

_TURN_NS = 50_000_000


def check_wav(path: str | Path, *, inputs: Iterable[str | Path], force: bool) -> None:
    """Refuse before the work what may not be written over; arguments and errors as `heeltap.write.check_asked`."""
    check_asked(path, wav_bytes(np.zeros(1), RATE_HZ), inputs=inputs, force=force)


def write_wav(path: str | Path, heard: Listening, *, slower_percent: float = 0.0, font: str | None = None) -> float:
    """Write it as a WAV file, a second at a time; how long it is, seconds.

    Parameters
    ----------
    path : path
        Ask `check_wav` first.
    heard : Listening
    slower_percent : float
        From 0.
    font : str, optional
        A sound font (``.sf2``), or ``system`` for one that the system has; heeltap's own sounds where not given.

    Raises
    ------
    InputFileError
        The file cannot be written; there is no such font, or nothing that plays it.
    """
    schedule = slower(heard.schedule, slower_percent)
    found = installed_font() if font == "system" else font
    if font is not None and found is None:
        raise InputFileError("system", "no sound font", "a General MIDI font (.sf2)", "name one with --font FILE")
    write_whole(path, wav_parts(schedule, RATE_HZ) if found is None else font_parts(schedule, Path(found), RATE_HZ))
    return schedule.end_us / 1e6


def play(heard: Listening, *, slower_percent: float = 0.0, clock: Clock | None = None) -> Iterator[str]:
    """Play it through the output in use; what begins, in words, when it begins.

    Parameters
    ----------
    heard : Listening
    slower_percent : float
        From 0.
    clock : Clock, optional
        The machine's own where not given.

    Yields
    ------
    str

    Raises
    ------
    PortError
        There is no output, or it breaks.
    """
    time: Clock = SystemClock() if clock is None else clock
    schedule, factor = slower(heard.schedule, slower_percent), 100.0 / (100.0 - slower_percent)
    playback = Playback(schedule, sound_in_use()[0], clock=time)
    left = list(heard.begins)
    try:
        while not playback.over:
            playback.turn()
            while left and playback.now_us >= left[0][0] * factor:
                yield left.pop(0)[1]
            time.sleep_until_ns(time.now_ns() + _TURN_NS)
        if playback.problem:
            raise PortError(sentence("listening", playback.problem))
    finally:
        playback.stop()
