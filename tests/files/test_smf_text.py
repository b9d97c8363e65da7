"""Texts of MIDI files: any code, nothing interpreted, one line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.files.smf.text import MOST_CHARACTERS, decode_text, plain


@pytest.mark.parametrize(
    ("text", "codec"),
    [
        ("Drums", "ascii"),
        ("Übung für später", "utf-8"),
        ("Übung für später", "latin-1"),
        ("Año café", "latin-1"),
        ("Don’t stop", "cp1252"),
        ("“Verse” – two", "cp1252"),
        ("ドラム 練習", "shift_jis"),
        ("サビ", "shift_jis"),
        ("練習 🥁 żółć", "utf-8"),
    ],
)
def test_texts_come_out_as_they_were_meant(text: str, codec: str) -> None:
    """UTF-8, Shift-JIS, Windows-1252 and Latin-1 are told apart."""
    assert text == decode_text(text.encode(codec))


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (b"\x1b[2J\x1b[31mred", "[2J[31mred"),
        (b"two\r\nlines\tand a tab", "two lines and a tab"),
        (b"\x00\x00name\x00", "name"),
        (b"\xef\xbb\xbfmarked", "marked"),
        ("abc\u202edcb\u2066".encode(), "abcdcb"),
        (b"[bold]name[/bold]", "[bold]name[/bold]"),
        (b"\x81\x8d\x8f\x90\x9d", ""),
        (b"", ""),
    ],
)
def test_nothing_in_a_text_steers_the_screen(raw: bytes, shown: str) -> None:
    """Escapes, line feeds, nulls and direction marks are gone; markup stays what it is, plain letters."""
    assert shown == decode_text(raw)


@given(st.binary(max_size=2_000))
def test_any_bytes_are_one_printable_line(raw: bytes) -> None:
    """Whatever the bytes: no error, one line, no control character, bounded length."""
    text = decode_text(raw)

    assert len(text) <= MOST_CHARACTERS
    assert not any(ord(char) < 32 or 127 <= ord(char) < 160 for char in text)
    assert text == plain(text)


def test_a_long_text_is_cut_between_characters() -> None:
    """The cut at the limit does not turn a UTF-8 text into another code."""
    assert "é" * MOST_CHARACTERS == decode_text(("é" * 5_000).encode())
    assert "x" + "日" * (MOST_CHARACTERS - 1) == decode_text(("x" + "日" * 5_000).encode())
