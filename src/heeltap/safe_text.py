"""What may leave as text: nothing that moves a cursor, colours a screen, forges a line or turns the reading direction.

File names, titles, port names and section names are other people's. They pass here where text leaves heeltap, and nowhere
else: the terminal (`heeltap.cli.safe_stream`, `heeltap.tui.lines_widget`) and every file that you ask for
(`heeltap.write.write_asked`).

Inside: `safe`, `safe_line`, `safe_json`, `safe_file`.
"""

import re

__all__ = ["safe", "safe_file", "safe_json", "safe_line"]

_HARMFUL = (
    "\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"  # C0 without tab and line ends, delete, C1
    "\u061c\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f"  # marks, overrides and isolates of direction; invisible
    "\u2028\u2029\ufeff\ufff9-\ufffb\U000e0000-\U000e007f"  # other line ends, byte order mark, annotations, tags
    "\ud800-\udfff"  # half a surrogate pair: a file name that is no text; no terminal and no UTF-8 file takes it
)
"""The joiners U+200C and U+200D stay: Persian, Hindi and many pictures need them."""

_IN_TEXT = re.compile(f"[{_HARMFUL}]|\r(?!\n)")
_IN_LINE = re.compile(f"[{_HARMFUL}\r\n\t]")
_IN_JSON = re.compile(f"[{_HARMFUL}]")
_BINARY = (b"MThd", b"RIFF", b"PK", b"\x89PNG")


def safe(text: str) -> str:
    """The text with a ``?`` in place of every harmful character; tabs and line ends stay.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        As long as ``text``.

    Examples
    --------
    >>> safe("take\\x1b[2J.mid\\n")
    'take?[2J.mid\\n'
    """
    return _IN_TEXT.sub("?", text)


def safe_line(text: str) -> str:
    """The same for a text that has to stay within its line, such as a name in a table: tabs and line ends become ``?``, too.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        As long as ``text``.
    """
    return _IN_LINE.sub("?", text)


def safe_json(text: str) -> str:
    """JSON that says the same, with every harmful character as an escape: what stands in it can be told, and does nothing.

    Parameters
    ----------
    text : str
        A JSON document; such characters can stand inside its strings only.

    Returns
    -------
    str
    """
    return _IN_JSON.sub(_escape, text)


def _escape(found: re.Match[str]) -> str:
    """One character as JSON escapes it, beyond U+FFFF as a pair of surrogates (RFC 8259, section 7)."""
    units = found[0].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))


def safe_file(data: bytes) -> bytes:
    """The bytes of a file as they may leave: MIDI, sound, pictures and zips as they are, JSON and other text made safe.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    bytes
    """
    if data.startswith(_BINARY):
        return data
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return data
    mark = "\ufeff" if text.startswith("\ufeff") else ""  # spreadsheets want it before a table
    text = text.removeprefix(mark)
    return (mark + (safe_json(text) if text.lstrip()[:1] in ("{", "[") else safe(text))).encode()
