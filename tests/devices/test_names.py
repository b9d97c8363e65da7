"""Names of ports: stable, told apart, found by what people type."""

import pytest

from heeltap.devices.names import find_port, stable_name, stable_names
from heeltap.errors import PortError


@pytest.mark.parametrize(
    ("name", "windows", "expected"),
    [
        ("Pad:Pad MIDI 1 20:0", False, "Pad:Pad MIDI 1"),
        ("Midi Through:Midi Through Port-0 14:0", False, "Midi Through:Midi Through Port-0"),
        ("a2j:Pad [20] (capture): Pad MIDI 1", False, "a2j:Pad (capture): Pad MIDI 1"),
        ("robot:out", False, "robot:out"),
        ("Stage Piano 2", False, "Stage Piano 2"),  # elsewhere a last number belongs to the name
        ("Stage Piano 2", True, "Stage Piano"),
        ("20:0", False, "20:0"),
        (" 1", True, " 1"),  # nothing would be left
    ],
)
def test_changing_numbers_go(name: str, windows: bool, expected: str) -> None:
    """What a system hands out anew at each start is not part of the name; the rest is."""
    assert expected == stable_name(name, windows=windows)


def test_two_alike_are_told_apart() -> None:
    """The second device of a name is called #2, in the system's order."""
    assert ["Pad", "Keys", "Pad #2", "Pad #3"] == stable_names(["Pad 20:0", "Keys 24:0", "Pad 28:0", "Pad 32:0"])


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        ("Pad:Pad MIDI 1 28:0", 2),  # the full name
        ("Pad:Pad MIDI 1", 1),  # the stable name: the first of two alike
        ("Pad:Pad MIDI 1 #2", 2),
        ("Pad:Pad MIDI 1 99:0", 1),  # kept last week, with last week's number
        ("key", 0),  # a beginning, in any case
    ],
)
def test_port_is_found(wanted: str, expected: int) -> None:
    """By the full name, the stable name, a name with old numbers, or a beginning that only one has."""
    names = ["Keys:Keys MIDI 1 16:0", "Pad:Pad MIDI 1 20:0", "Pad:Pad MIDI 1 28:0"]

    assert expected == find_port(wanted, names, windows=False)


@pytest.mark.parametrize(
    ("wanted", "names", "text"),
    [
        ("pad", ["Pad A 1:0", "Pad B 2:0"], "MIDI port 'pad': fits several ports; expected one of: Pad A, Pad B"),
        ("drum", ["Pad 1:0"], "MIDI port 'drum': no such port; expected one of: Pad"),
        ("drum", [], r"MIDI port 'drum': no such port; expected a MIDI device \(there is none now\)"),
    ],
)
def test_doubt_names_what_there_is(wanted: str, names: list[str], text: str) -> None:
    """None or several: one line with the names that would do."""
    with pytest.raises(PortError, match=f"^{text}$"):
        find_port(wanted, names, windows=False)
