"""Several MIDI systems as one: every device is found, a bridge's copy is not shown twice."""

from typing import Any

import pytest

from heeltap.devices import systems
from heeltap.devices.systems import list_ports, open_in, open_out
from heeltap.errors import PortError

ALSA = ["Midi Through:Midi Through Port-0 14:0", "Pad:Pad MIDI 1 20:0"]
JACK = ["a2j:Pad [20] (capture): Pad MIDI 1", "Midi-Bridge:Pad:(capture_0) Pad MIDI 1", "synth:in", "Pad two:in"]


class FakeSystem:
    """A system with these names, or one that does not answer."""

    def __init__(self, name: str, names: list[str] | None) -> None:
        self.name, self.listed = name, names
        self.opened: list[tuple[str, bool]] = []

    def names(self, *, inputs: bool) -> list[str]:
        """What there is."""
        if self.listed is None:
            raise PortError(f"MIDI devices ({self.name}): none")
        return self.listed

    def open_in(self, wanted: str, *, virtual: bool = False) -> Any:
        """Remember what was opened."""
        self.opened.append((wanted, virtual))
        return self.name

    open_out = open_in


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> dict[str, FakeSystem]:
    """A Linux machine with both systems."""
    both = {"alsa": FakeSystem("alsa", list(ALSA)), "jack": FakeSystem("jack", list(JACK))}
    monkeypatch.setattr(systems, "load_system", both.__getitem__)
    monkeypatch.setattr(systems.sys, "platform", "linux")
    monkeypatch.delenv("HEELTAP_MIDI_API", raising=False)
    return both


def test_both_systems_are_listed_and_a_bridged_device_once(two: dict[str, FakeSystem]) -> None:
    """ALSA's devices, then JACK's own; what a bridge repeats is left out; a name that only looks alike stays."""
    inputs, outputs = list_ports()

    expected = ["Midi Through:Midi Through Port-0", "Pad:Pad MIDI 1", "synth:in", "Pad two:in"]
    assert expected == [port.stable for port in inputs] == [port.stable for port in outputs]


@pytest.mark.parametrize(("missing", "expected"), [("alsa", JACK), ("jack", ALSA)])
def test_one_system_that_does_not_answer_hides_nothing_of_the_other(
    two: dict[str, FakeSystem], missing: str, expected: list[str]
) -> None:
    """What answers is listed, the bridge's names included where nothing else shows the device."""
    two[missing].listed = None

    assert expected == [port.full for port in list_ports()[0]]


def test_no_system_at_all_is_one_line(two: dict[str, FakeSystem]) -> None:
    """The line names both systems and says what still works."""
    two["alsa"].listed = two["jack"].listed = None
    with pytest.raises(
        PortError, match=r"^MIDI devices: .*neither an ALSA sequencer nor a JACK server answers \(recorded files"
    ):
        list_ports()


@pytest.mark.parametrize(
    ("wanted", "owner", "full"),
    [
        ("Pad:Pad MIDI 1", "alsa", "Pad:Pad MIDI 1 20:0"),
        ("synth", "jack", "synth:in"),
        ("a2j:Pad (capture): Pad MIDI 1", "alsa", None),  # not listed beside ALSA's own
    ],
)
def test_a_port_is_opened_in_the_system_that_has_it(
    two: dict[str, FakeSystem], wanted: str, owner: str, full: str | None
) -> None:
    """By its full name there; a name that is not listed is refused with those that are."""
    if full is None:
        with pytest.raises(PortError, match="no such port; expected one of: Midi Through"):
            open_in(wanted)
        return

    assert owner == open_in(wanted) == open_out(wanted)
    assert [(full, False)] * 2 == two[owner].opened


def test_two_of_one_name_in_two_systems_are_told_apart(two: dict[str, FakeSystem]) -> None:
    """The second is called #2 in the list, and that name opens it."""
    two["jack"].listed = ["Pad:Pad MIDI 1"]

    assert "Pad:Pad MIDI 1 #2" == list_ports()[0][-1].stable
    assert "jack" == open_in("Pad:Pad MIDI 1 #2")
    assert [("Pad:Pad MIDI 1", False)] == two["jack"].opened


def test_a_port_of_our_own_is_made_in_the_first_system_that_answers(two: dict[str, FakeSystem]) -> None:
    """With the sequencer away that is JACK."""
    assert "alsa" == open_in("mine", virtual=True)
    two["alsa"].listed = None

    assert "jack" == open_out("mine", virtual=True)
    assert [("mine", True)] == two["alsa"].opened == two["jack"].opened


def test_the_environment_narrows_it(two: dict[str, FakeSystem], monkeypatch: pytest.MonkeyPatch) -> None:
    """``HEELTAP_MIDI_API`` asks one system only."""
    monkeypatch.setenv("HEELTAP_MIDI_API", "jack")

    assert JACK == [port.full for port in list_ports()[0]]
