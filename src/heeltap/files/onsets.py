"""Onsets that somebody has found in a recording, a line each: ``12.345`` (seconds) or ``12:2.5`` (bar and beat).

What stands behind the first blank, tab or comma of a line is a label, which is not read; neither are empty lines and
lines that begin with ``#``.

Inside: `Onsets`, `read_onsets`, `MOST_ONSETS`.
"""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.errors import InputFileError
from heeltap.files.regular import read_regular
from heeltap.model.arrays import IntArray
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["MOST_ONSETS", "Onsets", "read_onsets"]

MOST_ONSETS = 100_000
"""As many as heeltap reads: a whole night of sixteenths. Ours."""

_MOST_BYTES = 8 << 20

_SECONDS = re.compile(r"[+-]?(\d{1,6})(?:[.](\d{0,9}))?")
_PLACE = re.compile(r"(\d{1,6}):(\d{1,3}(?:[.]\d{0,9})?)")

_EARLIEST_S = -10.0
"""A first stroke may lie ahead of bar 1."""


@dataclass(frozen=True, slots=True, eq=False)
class Onsets:
    """Onsets in time order."""

    at_us: IntArray
    """Microseconds from bar 1, beat 1."""
    resolution_ms: float | None
    """The last decimal of the seconds; None where bars and beats were given."""
    by_bar: bool
    """Whether bars and beats were given: the onsets then know their bars."""


def read_onsets(path: str | Path, tempo: TempoMap, metre: MetreMap) -> Onsets:
    """The onsets in a text file.

    Parameters
    ----------
    path : path
    tempo : TempoMap
        Of the click.
    metre : MetreMap
        How its bars are counted; a beat is the metre's own, from 1.

    Returns
    -------
    Onsets

    Raises
    ------
    InputFileError
        The file cannot be read, holds no onset or too many, mixes both forms, or a line is neither of them.
    """
    where = str(path)
    data = read_regular(Path(path), InputFileError, _MOST_BYTES, "a text file with a line for each onset")
    words = _words(data.decode("utf-8-sig", errors="replace"))
    if not 0 < len(words) <= MOST_ONSETS:
        raise InputFileError(where, f"{len(words)} onsets", f"1 to {MOST_ONSETS:,}, a line each")
    if ":" in words[0][1]:
        return Onsets(np.sort(_of_bars(where, words, tempo, metre)), None, True)
    seconds, decimals = _of_seconds(where, words)
    return Onsets(np.sort(np.rint(seconds * 1e6).astype(np.int64)), 1000.0 * 10.0**-decimals, False)


def _words(text: str) -> list[tuple[int, str]]:
    """The number of each line that holds an onset, and its first word."""
    lines = ((number, line.strip()) for number, line in enumerate(text.splitlines(), 1))
    return [(number, re.split(r"[\s,;]", line, maxsplit=1)[0]) for number, line in lines if line and line[0] != "#"]


def _of_seconds(where: str, words: list[tuple[int, str]]) -> tuple[np.ndarray, int]:
    """Seconds, and how many decimals the most exact of them has."""
    seconds, decimals = [], 0
    for number, word in words:
        found = _SECONDS.fullmatch(word)
        if found is None or float(word) < _EARLIEST_S:
            raise _wrong(where, number, word, "seconds such as 12.345, as in the lines before")
        seconds.append(float(word))
        decimals = max(decimals, len(found[2] or ""))
    return np.array(seconds), decimals


def _of_bars(where: str, words: list[tuple[int, str]], tempo: TempoMap, metre: MetreMap) -> IntArray:
    """Microseconds of bars and beats."""
    quarters = []
    for number, word in words:
        found = _PLACE.fullmatch(word)
        bar, beat = (int(found[1]), float(found[2])) if found is not None else (0, 0.0)
        if found is None or bar < 1 or beat < 1:
            raise _wrong(where, number, word, "bar and beat such as 12:2.5, both from 1, as in the lines before")
        kind = metre.metre_of_bar(bar)
        if beat >= 1 + kind.bar_quarters / kind.beat_quarters:
            raise _wrong(where, number, word, f"a beat below {kind.bar_quarters / kind.beat_quarters + 1:g} in {kind}")
        quarters.append(float(metre.quarter_of_bar(bar)) + (beat - 1) * kind.beat_quarters)
    return np.rint(tempo.us_at_quarter(np.array(quarters))).astype(np.int64)


def _wrong(where: str, number: int, word: str, expected: str) -> InputFileError:
    if number == 1 or word == "":
        expected = "seconds such as 12.345, or bar and beat such as 12:2.5"
    return InputFileError(where, f"'{word[:40]}' in line {number}", expected.removesuffix(", as in the lines before"))
