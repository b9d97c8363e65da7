"""What may leave as text: the one function that every border asks."""

import json
import unicodedata

import pytest

from heeltap.safe_text import safe, safe_file, safe_json, safe_line

HARMFUL = {
    "C0": "\x00\x07\x08\x0b\x0c\x1b",
    "delete and C1": "\x7f\x80\x85\x9b\x9f",
    "line ends": "\u2028\u2029",
    "overrides and embeddings": "\u202a\u202b\u202c\u202d\u202e",
    "isolates": "\u2066\u2067\u2068\u2069",
    "direction marks": "\u061c\u200e\u200f",
    "invisible": "\u200b\u2060\ufeff\U000e0041",
    "half pairs": "\ud800\udcff",
}


@pytest.mark.parametrize("kind", HARMFUL)
def test_each_harmful_character_becomes_a_question_mark(kind: str) -> None:
    """One for one, in a text and in a line."""
    text = HARMFUL[kind]

    assert f"a{'?' * len(text)}b" == safe(f"a{text}b")
    assert f"a{'?' * len(text)}b" == safe_line(f"a{text}b")


def test_no_control_character_of_unicode_is_left() -> None:
    """Of all that Unicode calls control (Cc) only tab and line feed stay, and in a line not even these."""
    controls = "".join(chr(code) for code in range(0x110000) if unicodedata.category(chr(code)) == "Cc")

    assert "\t\n" == safe(controls).replace("?", "")
    assert "" == safe_line(controls).replace("?", "")


def test_a_carriage_return_stays_only_before_a_line_feed() -> None:
    """Alone it would let the rest of a line write over its beginning."""
    assert "a?b\r\n" == safe("a\rb\r\n")


@pytest.mark.parametrize(
    "text", ["Grüße", "Ελλάδα", "नमस्\u200dते", "می\u200cخواهم", "👩\u200d👩", "two  spaces", "tab\tbed\n", "שלום"]
)
def test_every_script_passes(text: str) -> None:
    """Letters, joiners, pictures, spaces: nothing is taken from a name that only looks foreign."""
    assert text == safe(text)


def test_json_says_the_same_in_escapes() -> None:
    """A reader of the JSON gets every character back; a terminal gets none."""
    text = "".join(HARMFUL[kind] for kind in HARMFUL if kind != "half pairs")
    written = safe_json(json.dumps({"name": text}, ensure_ascii=False))

    assert {"name": text} == json.loads(written)
    assert written == safe(written)


def test_a_file_is_made_safe_by_its_kind() -> None:
    """MIDI, sound and zips leave as they are, JSON with escapes, any other text with question marks."""
    assert b"MThd\x1b" == safe_file(b"MThd\x1b")
    assert b"\x1b\xff" == safe_file(b"\x1b\xff")
    assert b'{"a":"\\u007f"}' == safe_file(b'{"a":"\x7f"}')
    assert b"<p>?[2J</p>\r\n" == safe_file(b"<p>\x1b[2J</p>\r\n")
    assert "\ufeffname\r\n".encode() == safe_file("\ufeffname\r\n".encode())
