"""Names and markers out of a MIDI file, in whatever code the machine that wrote it used.

No text decides whether a file loads, and heeltap interprets none: it takes control characters, escape sequences and
direction marks out, so that a name cannot move the cursor or pose as another.

Inside: `decode_text` (bytes to str), `plain` (str to something fit for one line of screen).
"""

import re
import unicodedata

__all__ = ["MOST_CHARACTERS", "decode_text", "plain"]

MOST_CHARACTERS = 200
"""A longer name is cut: it has to fit a line or two of screen. Ours."""

_DIRECTION = dict.fromkeys([0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A), 0xFEFF])
"""Marks that turn the direction of writing around; and the byte order mark."""

_TWO_WIDE = re.compile(r"[\u3000-\u30ff\u4e00-\u9fff\uff01-\uff5e]{2}")
"""Two Japanese characters in a row."""


def decode_text(raw: bytes) -> str:
    """The text fit for display: UTF-8 if it is that, else Shift-JIS where plausible, else Windows-1252 or Latin-1.

    Notes
    -----
    Shift-JIS is plausible when the bytes decode strictly, hold a byte 81-9F (no letter in Latin-1), and give two
    Japanese characters in a row. Ours; the last condition keeps the curly apostrophe of "Don\\x92t" from becoming a
    kanji.
    """
    return plain(_decoded(raw[: 4 * MOST_CHARACTERS]))


def plain(text: str) -> str:
    """The text on one line, without control characters and direction marks, at most `MOST_CHARACTERS` long."""
    kept = "".join(
        " " if char.isspace() else char
        for char in text.translate(_DIRECTION)
        if char.isspace() or unicodedata.category(char) not in ("Cc", "Cs")
    )
    return " ".join(kept.split())[:MOST_CHARACTERS]


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.end >= len(raw) and error.reason == "unexpected end of data" and error.start > len(raw) - 4 > 0:
            return raw[: error.start].decode("utf-8")  # the cut at the length limit went through a character
    for codec in ("shift_jis", "cp1252"):
        try:
            text = raw.decode(codec)
        except UnicodeDecodeError:
            continue
        if codec == "cp1252" or (_TWO_WIDE.search(text) and any(0x81 <= byte <= 0x9F for byte in raw)):
            return text
    return raw.decode("latin-1")
