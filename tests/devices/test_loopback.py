"""Loops that need no cable."""

import pytest

from heeltap.clock import FakeClock
from heeltap.devices import loopback as loop
from heeltap.devices.loopback import INSIDE, VIRTUAL, open_loop
from heeltap.errors import PortError


def test_inside_gives_back_what_was_sent_with_the_time_between() -> None:
    """In order, each once; the delta is the time between sends, however late it is polled."""
    clock = FakeClock(0)
    ear, voice = open_loop(INSIDE, clock.now_ns)
    ear.begin(0)
    for message, wait_ns in ((b"\x90\x3c\x40", 5_000_000), (b"\x80\x3c\x00", 70_000_000)):
        voice.send(message)
        clock.advance(wait_ns)

    assert ear.stamped_ns is None
    assert [(b"\x90\x3c\x40", 0.0), (b"\x80\x3c\x00", 0.005), None] == [ear.poll() for _ in range(3)]
    assert (True, True, True) == (ear.connected(), ear.returned(), voice.connected())
    ear.close()
    voice.close()


class _System:
    """A MIDI system that lists what it is told to."""

    def __init__(self, listed: list[str]) -> None:
        self.listed = listed

    def names(self, *, inputs: bool) -> list[str]:
        return [] if inputs else self.listed


class _Port:
    """A port that remembers whether it was closed."""

    name, closed = "", False

    def close(self) -> None:
        self.closed = True


@pytest.mark.parametrize("listed", [[], ["Something else"]])
def test_virtual_port_that_is_not_listed_is_closed_again(monkeypatch: pytest.MonkeyPatch, listed: list[str]) -> None:
    """Where the system does not show our own port there is no loop, and the port does not stay behind."""
    ear = _Port()
    monkeypatch.setattr(loop, "open_in", lambda *_, **__: ear)
    monkeypatch.setattr(loop, "midi_system", lambda _: _System(listed))

    with pytest.raises(PortError, match="is not listed"):
        open_loop(VIRTUAL, lambda: 0)

    assert ear.closed


def test_virtual_port_is_found_whatever_the_system_puts_around_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each system adds client names and numbers of its own."""
    made: list[str] = []

    def opened(name: str, **_: object) -> _Port:
        made.append(name)
        return _Port()

    monkeypatch.setattr(loop, "open_in", opened)
    monkeypatch.setattr(loop, "open_out", opened)
    monkeypatch.setattr(loop, "midi_system", lambda _: _System(["Pad", f"heeltap-01:{made[0]} 128:0"]))
    open_loop(VIRTUAL, lambda: 0)

    assert f"heeltap-01:{made[0]} 128:0" == made[1]
