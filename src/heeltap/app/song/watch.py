"""Waiting for new takes: the recording program exports, and whoever waits is told.

Inside: `new_takes`, `EVERY_NS`.
"""

from collections.abc import Iterator
from pathlib import Path

from heeltap.app.score.batch import MIDI_SUFFIXES
from heeltap.clock import Clock

__all__ = ["EVERY_NS", "new_takes"]

EVERY_NS = 1_000_000_000
"""Between two looks at the folder: a second. Ours."""


def new_takes(folder: Path, clock: Clock, *, every_ns: int = EVERY_NS) -> Iterator[int]:
    """The number of MIDI files in a folder, at once and then whenever they have changed, for ever.

    A file that is still being written changes from look to look; it is told once it has stayed the same for one look.

    Parameters
    ----------
    folder : Path
        With everything below it; it need not be there yet.
    clock : Clock
    every_ns : int
        Between two looks, nanoseconds.

    Yields
    ------
    int
        How many files there are.
    """
    told = before = _seen(folder)
    yield len(told)
    while True:
        clock.sleep_until_ns(clock.now_ns() + every_ns)
        now = _seen(folder)
        if now == before and now != told:
            told = now
            yield len(told)
        before = now


def _seen(folder: Path) -> dict[Path, tuple[int, int]]:
    """Size and time of every MIDI file; one that goes while it is looked at is none."""
    found = {}
    for path in folder.rglob("*"):
        if path.suffix.lower() in MIDI_SUFFIXES and not path.name.startswith("."):
            try:
                state = path.stat()
            except OSError:
                continue
            found[path] = (state.st_size, state.st_mtime_ns)
    return found
