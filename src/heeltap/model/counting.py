"""Counting-syllable text, as a teacher writes it on the board, and the slots of a bar that it names.

The grammar (ours, made of the trade's counting; printable ASCII)
-----------------------------------------------------------------
* A number counts the metre's written unit: ``1 2 3 4`` in 4/4, ``1 2 3 4 5 6`` in 6/8.
* ``e & a`` are the second, third and fourth quarter of the unit just counted; ``t l`` its second and third third
  ("one-trip-let"). So ``&`` is an eighth in 4/4 and a sixteenth in 6/8.
* Every syllable outside brackets is struck. Round brackets count without striking: ``(1)& (2)& (3)& (4)&``.
* ``>`` before a syllable is an accent. ``-`` alone is a bar of rest. Spaces are for the eye only.

There are no ties and no note lengths: heeltap measures when a stroke begins, not when it ends.

Inside: `BarStrokes`, `Syllable`, `parse_counting`, `counting_text`, `counting_line`, `unit_ticks`,
`bar_ticks`.
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from heeltap.errors import PlanError, sentence
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "SYLLABLES",
    "BarStrokes",
    "Syllable",
    "bar_ticks",
    "counting_line",
    "counting_text",
    "parse_counting",
    "unit_ticks",
]

SYLLABLES = {"e": (1, 4), "t": (1, 3), "&": (1, 2), "l": (2, 3), "a": (3, 4)}
"""Place of each syllable inside its unit as a fraction, in the order in which they are counted."""

_BY_DIVISION = {1: "", 2: "&", 3: "tl", 4: "e&a"}
"""Syllables after the number when a unit is cut in so many."""

_CUTS = (*_BY_DIVISION.values(), "".join(SYLLABLES))
"""What a unit can be counted in, the plainest first; the last holds thirds and quarters together."""

_PARTS = {over / under: name for name, (over, under) in SYLLABLES.items()}
"""The same places as floats."""

_LOOKALIKES = {"+": "&", "n": "&", "i": "l", "o": "0", "[": "(", "]": ")", "{": "(", "}": ")", "^": ">", ".": "-"}
"""What people type instead, for the hint."""


@dataclass(frozen=True, slots=True)
class BarStrokes:
    """The strokes of one voice in one bar."""

    at_tick: tuple[int, ...] = ()
    """Positions from the bar line in ticks of 10,080 per quarter, increasing, unswung."""
    accent: tuple[bool, ...] = ()
    """Whether each stroke is accented."""

    def __post_init__(self) -> None:
        """Check that the strokes increase and each has its accent flag; raise `ValueError` otherwise."""
        if len(self.at_tick) != len(self.accent) or any(
            b <= a for a, b in zip(self.at_tick, self.at_tick[1:], strict=False)
        ):
            raise ValueError("the strokes of a bar increase and each has an accent flag")


class Syllable(NamedTuple):
    """One syllable of the counting line."""

    at_quarter: float
    """Position inside the bar in quarter notes from 0."""
    text: str
    """What is said: ``3``, ``&``, ``e``, ``a``, ``t``, ``l``."""


def unit_ticks(metre: Metre) -> int:
    """Ticks of the metre's written unit: 10,080 where it is a quarter, 5,040 where it is an eighth.

    Parameters
    ----------
    metre : Metre

    Returns
    -------
    int
        Ticks of 10,080 per quarter.
    """
    return 4 * TICKS_PER_QUARTER // metre.unit


def bar_ticks(metre: Metre) -> int:
    """Ticks of a whole bar.

    Parameters
    ----------
    metre : Metre

    Returns
    -------
    int
        Ticks of 10,080 per quarter.
    """
    return metre.count * unit_ticks(metre)


# A course asks for the same few hundred bars again and again: with this, making one takes a third less.
@lru_cache(maxsize=4096)
def parse_counting(text: str, metre: Metre) -> BarStrokes:
    """The strokes that a bar's counting text names.

    Parameters
    ----------
    text : str
        For example ``1 2& (4)e``.
    metre : Metre
        Says how far the numbers run and what a unit is.

    Returns
    -------
    BarStrokes
        Ticks from the bar line.

    Raises
    ------
    PlanError
        The column (from 1), what stands there, what could stand there and, where it can be guessed, what was meant.

    Examples
    --------
    >>> parse_counting("1 (2)&", Metre(4, 4)).at_tick
    (0, 15120)
    """
    if text.strip() == "-":
        return BarStrokes()
    strokes: list[tuple[int, bool]] = []
    unit, last, silent, accent = 0, -1, False, False
    for column, token in _tokens(text):
        if token == ">":
            accent = _accent_allowed(text, column, accent, silent)
        elif token in "()":
            silent = _bracket(text, column, token, silent, accent)
        else:
            unit, at = _position(text, column, token, metre, unit)
            if at <= last:
                raise _wrong(text, column, token, "syllables in the order in which they are counted")
            if not silent:
                strokes.append((at, accent))
            last, accent = at, False
    if silent or accent:
        raise _wrong(text, len(text) + 1, "the end", "a closing )" if silent else "a syllable after >")
    if last < 0:
        raise _wrong(text, 1, "nothing", "a syllable such as 1, or - for a bar of rest")
    return BarStrokes(tuple(at for at, _ in strokes), tuple(loud for _, loud in strokes))


def _tokens(text: str) -> Iterable[tuple[int, str]]:
    """Column from 1 and text of each token; a run of digits is one token."""
    column = 0
    while column < len(text):
        end = column + 1
        if text[column].isdecimal():
            while end < len(text) and text[end].isdecimal():
                end += 1
        if not text[column].isspace():
            yield column + 1, text[column:end]
        column = end


def _position(text: str, column: int, token: str, metre: Metre, unit: int) -> tuple[int, int]:
    """The unit now counted and the tick of the token."""
    ticks = unit_ticks(metre)
    if token.isdecimal():
        if not token.isascii() or len(token) > 3 or not 1 <= int(token) <= metre.count:
            raise _wrong(text, column, token, f"a number from 1 to {metre.count} in {metre}")
        return int(token), (int(token) - 1) * ticks
    if token not in SYLLABLES:
        raise _wrong(text, column, token, "a number, one of e & a t l, ( ), > or a single -", _hint(token))
    if unit == 0:
        raise _wrong(text, column, token, f"a number first, such as 1{token}; (1){token} leaves out the number itself")
    over, under = SYLLABLES[token]
    return unit, (unit - 1) * ticks + over * ticks // under


def _hint(token: str) -> str:
    """What may have been meant by a token that is none of ours."""
    meant = _LOOKALIKES.get(token.lower()) or next(iter(difflib.get_close_matches(token.lower(), [*SYLLABLES])), "")
    return f"did you mean {meant}?" if meant else ""


def _accent_allowed(text: str, column: int, accent: bool, silent: bool) -> bool:
    if accent or silent:
        raise _wrong(text, column, ">", "one > before a syllable that is struck")
    return True


def _bracket(text: str, column: int, token: str, silent: bool, accent: bool) -> bool:
    """Whether we are inside brackets after this one."""
    if (token == "(") == silent or accent:
        raise _wrong(text, column, token, "brackets in pairs, not nested and not after >")
    return token == "("


def _wrong(text: str, column: int, found: str, expected: str, hint: str = "") -> PlanError:
    quoted = found if found in ("the end", "nothing") else f"'{found}'"
    return PlanError(sentence(f"counting text '{text}', column {column}", f"found {quoted}", expected, hint))


def counting_text(strokes: BarStrokes, metre: Metre) -> str:
    """The counting text of a bar in its one canonical spelling: `parse_counting` of it gives the same strokes.

    Parameters
    ----------
    strokes : BarStrokes
        Ticks from the bar line, unswung.
    metre : Metre

    Returns
    -------
    str
        For example ``1 2& (4)e``; ``-`` for a bar of rest.

    Raises
    ------
    PlanError
        A stroke lies on no syllable.
    """
    ticks = unit_ticks(metre)
    names = {over * ticks // under: name for name, (over, under) in SYLLABLES.items()}
    words: dict[int, str] = {}
    for at, loud in zip(strokes.at_tick, strokes.accent, strict=True):
        unit, within = divmod(at, ticks)
        if not 0 <= unit < metre.count or (within and within not in names):
            raise PlanError(
                sentence("counting text", f"a stroke at tick {at} of the bar", f"a counted position in {metre}")
            )
        mark = ">" if loud else ""
        if within == 0:
            words[unit] = f"{mark}{unit + 1}"
        else:
            words[unit] = words.get(unit, f"({unit + 1})") + mark + names[within]
    return " ".join(words[unit] for unit in sorted(words)) or "-"


def counting_line(at_tick: Iterable[int], metre: Metre, *, least: int = 1) -> tuple[Syllable, ...]:
    """What is counted in a bar so that every stroke has its syllable: each unit is cut as finely as its strokes need.

    Parameters
    ----------
    at_tick : ints
        Unswung positions from the bar line; one that is on no syllable is taken for the nearest.
    metre : Metre
    least : int
        Every unit is cut at least so finely (1 or 2), to keep the look of neighbouring bars alike.

    Returns
    -------
    tuple of Syllable
        In the order of counting; positions in quarter notes from the bar line.
    """
    ticks = unit_ticks(metre)
    need = [set(_BY_DIVISION[least]) for _ in range(metre.count)]
    for at in at_tick:
        unit, within = divmod(min(max(at, 0), bar_ticks(metre) - 1), ticks)
        place = min((0.0, 1.0, *_PARTS), key=lambda p: abs(p - within / ticks))
        need[unit].update(_PARTS.get(place, ""))
    return _line(metre, [next(cut for cut in _CUTS if names <= set(cut)) for names in need])


def _line(metre: Metre, cuts: Iterable[str]) -> tuple[Syllable, ...]:
    """Number and syllables of every unit, given the syllables behind each number."""
    step = unit_ticks(metre) / TICKS_PER_QUARTER
    line = []
    for unit, cut in enumerate(cuts):
        line.append(Syllable(unit * step, str(unit + 1)))
        for name in cut:
            over, under = SYLLABLES[name]
            line.append(Syllable((unit + over / under) * step, name))
    return tuple(line)
