"""Score many files: find them and spread them over processes. One bad file never stops the rest.

Inside: `midi_files`, `score_files`.
"""

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import BrokenExecutor
from pathlib import Path

from heeltap.analysis.analyse import Options
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import score_path
from heeltap.errors import HeeltapError, InputFileError, fault
from heeltap.files.takes.folder import take_of
from heeltap.model.result import Result

__all__ = ["MIDI_SUFFIXES", "midi_files", "score_files"]

MIDI_SUFFIXES = (".mid", ".midi", ".rmi", ".kar", ".smf")

_FEW = 4
"""Up to so many files one process is quicker than starting a second."""


def midi_files(names: Iterable[str]) -> list[str]:
    """The named files, and those of the named folders by name; raises `InputFileError` when a folder has none.

    Parameters
    ----------
    names : iterable of str
        Files, folders of files, take folders.

    Returns
    -------
    list of str

    Raises
    ------
    InputFileError
        A folder holds no MIDI file.
    """
    found: list[str] = []
    for name in names:
        path = Path(name)
        if not path.is_dir() or take_of(path) is not None:
            found.append(name)
            continue
        inside = sorted(
            str(one)
            for one in path.rglob("*")
            if one.suffix.lower() in MIDI_SUFFIXES and not one.name.startswith("._") and one.is_file()
        )
        if not inside:
            raise InputFileError(name, "a folder without MIDI files", f"files ending in {', '.join(MIDI_SUFFIXES)}")
        found += inside
    return found


def score_files(
    names: list[str], reading: Reading | None = None, options: Options | None = None, *, processes: int = 0
) -> Iterator[tuple[str, Result | HeeltapError]]:
    """Each file's result, or the error that says what is wrong with it, in the order of ``names``.

    ``reading`` and ``options`` are those of `heeltap.app.score.score.ready`; ``processes`` 0 means one a core.

    Parameters
    ----------
    names : list of str
    reading, options : optional
        As for `heeltap.app.score.score.ready`; they hold for every file.
    processes : int
        0 is one for each core.

    Returns
    -------
    iterator of (str, Result or HeeltapError)
    """
    workers = min(processes or os.cpu_count() or 1, len(names))
    if workers <= 1 or len(names) <= _FEW:
        for name in names:
            yield name, _attempt(name, reading, options)
        return
    from concurrent.futures import ProcessPoolExecutor

    done = 0
    with ProcessPoolExecutor(workers) as pool:
        # Chunks of a few files: one message a file costs more than a short file's scoring.
        chunk = max(1, min(16, len(names) // (4 * workers)))
        outcomes = pool.map(_attempt, names, [reading] * len(names), [options] * len(names), chunksize=chunk)
        try:
            for name, outcome in zip(names, outcomes, strict=True):
                done += 1
                yield name, outcome
        except BrokenExecutor:  # one file took a process with it; which one shows when each has its own
            pass
    for name in names[done:]:
        yield name, _alone(name, reading, options)


def _alone(name: str, reading: Reading | None, options: Options | None) -> Result | HeeltapError:
    """The outcome of a file that has a process to itself."""
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(1) as pool:
        try:
            return pool.submit(_attempt, name, reading, options).result()
        except BrokenExecutor as error:
            return fault(name, error)


def _attempt(name: str, reading: Reading | None, options: Options | None) -> Result | HeeltapError:
    """The result of one file, or what is wrong; what nobody foresaw is a line of this file, and the others go on."""
    try:
        return score_path(name, reading, options)
    except HeeltapError as error:
        return error
    except Exception as error:
        return fault(name, error)
