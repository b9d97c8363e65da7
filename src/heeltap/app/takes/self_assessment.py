"""What you thought of a take before you saw it: early, on, or late. Guessing first teaches your ear.

heeltap never writes into a finished take, so your guesses have a file of their own, a line of JSON each:
``.guesses.jsonl`` in the folder of all takes.

Inside: `GUESSES`, `Guess`, `keep_guess`, `guesses`, `guess_words`.
"""

from pathlib import Path

import msgspec

from heeltap.errors import InputFileError, TakeFileError
from heeltap.files.regular import read_regular
from heeltap.model.result import Result
from heeltap.wording import early_late

__all__ = ["GUESSES", "Guess", "guess_words", "guesses", "keep_guess"]

GUESSES = ("early", "on", "late")

_MOST_BYTES = 16 << 20


class Guess(msgspec.Struct, frozen=True):
    """One guess."""

    take: str
    """Name of the take's folder."""
    guess: str
    """One of `GUESSES`."""
    bias_ms: float | None
    """What it was: the middle of the offsets against the lean; negative is early. None where nothing was judged."""


def _file(takes: Path) -> Path:
    return takes / ".guesses.jsonl"


def keep_guess(folder: Path, guess: str, result: Result | None) -> None:
    """Write a guess down. Raises `TakeFileError` where that is not possible.

    Parameters
    ----------
    folder : Path
        Of the take.
    guess : str
        One of `GUESSES`.
    result : Result or None
        None where nothing was judged.

    Raises
    ------
    TakeFileError
        It cannot be written down.
    """
    bias = None if result is None or result.overall.bias_ms is None else result.overall.bias_ms - result.lean_ms
    line = msgspec.json.encode(Guess(folder.name, guess, bias)) + b"\n"
    path = _file(folder.parent)
    try:
        with path.open("ab") as file:
            file.write(line)
    except OSError as error:
        raise TakeFileError(str(path), f"cannot be written: {error.strerror or error}") from error


def guesses(takes: Path) -> tuple[Guess, ...]:
    """All guesses of a folder of takes, oldest first; lines that are none are left out.

    Parameters
    ----------
    takes : Path
        The folder of all takes.

    Returns
    -------
    tuple of Guess
    """
    found = []
    try:
        lines = read_regular(_file(takes), InputFileError, _MOST_BYTES, "your guesses").splitlines()
    except InputFileError:
        return ()
    for line in lines:
        try:
            found.append(msgspec.json.decode(line, type=Guess))
        except msgspec.DecodeError:
            continue
    return tuple(found)


def guess_words(guess: str, result: Result) -> str:
    """The guess beside what was measured, as one sentence.

    Parameters
    ----------
    guess : str
        One of `GUESSES`.
    result : Result

    Returns
    -------
    str
    """
    bias = result.overall.bias_ms
    if bias is None:
        return f"You said: {guess}. No stroke of the take can be judged."
    against = "" if result.lean_ms == 0 else " of the lean"
    known = "" if result.calibration.known else " (heeltap does not know the delay of your gear)"
    return f"You said: {guess}. On average you were {early_late(bias - result.lean_ms)}{against}{known}."
