"""What a message is, by its first byte (MIDI 1.0 Detailed Specification 4.2, tables I, III and V)."""

import pytest

from heeltap.model.messages import is_clock_message, is_note_on


@pytest.mark.parametrize(
    ("message", "note_on"),
    [
        (b"\x90\x3c\x01", True),
        (b"\x9f\x3c\x7f", True),
        (b"\x90\x3c\x00", False),
        (b"\x80\x3c\x40", False),
        (b"\xb0\x40\x7f", False),
        (b"\xf8", False),
        (b"\x90\x3c", False),
    ],
)
def test_a_note_on_has_a_velocity(message: bytes, note_on: bool) -> None:
    """On every channel; with velocity 0 it is the end of a note."""
    assert note_on == is_note_on(message)


@pytest.mark.parametrize(
    ("message", "clock"),
    [
        (b"\xf8", True),
        (b"\xfa", True),
        (b"\xfb", True),
        (b"\xfc", True),
        (b"\xf2\x00\x08", True),
        (b"\xfe", False),
        (b"\xf0\x7e\xf7", False),
        (b"\x90\xf8\x40", False),
    ],
)
def test_clock_messages(message: bytes, clock: bool) -> None:
    """Clock, start, continue, stop and song position; active sensing and notes are none."""
    assert clock == is_clock_message(message)
