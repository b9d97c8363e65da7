"""Key numbers as people write them: ``C4``, ``F#2``, ``Bb3``, or the number itself.

C4 is key 60, as in General MIDI's usual counting; some makers call the same key C3, and then the number is safer.

Inside: `key_of`, `key_name`, and the codes of the hands.
"""

import re

from heeltap.errors import PlanError, sentence

__all__ = ["LEFT", "RIGHT", "key_name", "key_of"]

LEFT, RIGHT = 1, 2
"""Codes into `heeltap.model.plan.HANDS`."""

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_SHAPE = re.compile(r"([A-Ga-g])([#b]?)(-?\d{1,2})")


def key_of(text: str) -> int:
    """The key number 0-127 that a text names.

    Parameters
    ----------
    text : str
        A name such as ``F#2``, or the number.

    Returns
    -------
    int

    Raises
    ------
    PlanError
        Neither; the message says what can be given.

    Examples
    --------
    >>> [key_of(text) for text in ("C4", "f#2", "Bb3", "60")]
    [60, 42, 58, 60]
    """
    word = text.strip()
    found = _SHAPE.fullmatch(word)
    number = -1
    if found:
        step = _STEPS[found[1].upper()] + {"#": 1, "b": -1, "": 0}[found[2]]
        number = 12 * (int(found[3]) + 1) + step
    elif word.isdecimal() and word.isascii() and len(word) < 4:
        number = int(word)
    if 0 <= number <= 127:
        return number
    raise PlanError(sentence("key", f"'{text}'", "a name from C-1 to G9, such as C4, or a number from 0 to 127"))


def key_name(key: int) -> str:
    """The name of a key, with sharps.

    Parameters
    ----------
    key : int
        0-127.

    Returns
    -------
    str

    Examples
    --------
    >>> key_name(60), key_name(42)
    ('C4', 'F#2')
    """
    return f"{_NAMES[key % 12]}{key // 12 - 1}"
