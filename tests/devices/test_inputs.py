"""Ports by the names that people give, and taken back after a loss."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.clock import FakeClock
from heeltap.devices import inputs
from heeltap.devices.computer_keys import KeysInPort
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.devices.inputs import open_input, open_output, reopen_input, reopen_output
from heeltap.engine.scripts import script_from_file
from heeltap.errors import InputFileError, PortError
from heeltap.files.takes.journal import JournalWriter
from heeltap.model.arrays import as_ints
from heeltap.model.notes import make_notes


def no_device(name: str, *, api: str = "", virtual: bool = False) -> None:
    """A machine where nothing can be opened."""
    raise PortError(f"{name} {api} {virtual}")


def test_names_open_their_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    """``keys`` is the keyboard, ``fake:`` a script or a sink, everything else a device."""
    monkeypatch.setattr(inputs, "open_in", no_device)
    monkeypatch.setattr(inputs, "open_out", no_device)
    clock = FakeClock()
    script = script_from_notes(make_notes([0], [60]))

    assert isinstance(open_input("keys", clock), KeysInPort)
    assert isinstance(open_input("fake:", clock, script=script), FakeInPort)
    assert isinstance(open_output("fake:", clock), FakeOutPort)
    with pytest.raises(PortError, match="pad jack True"):
        open_input("pad", clock, api="jack", virtual=True)
    with pytest.raises(PortError, match="synth alsa False"):
        open_output("synth", clock, api="alsa")


def test_scripted_ports_come_back_as_themselves(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port without a device is its own return."""
    clock = FakeClock()
    keys, out = KeysInPort(), FakeOutPort(clock.now_ns)

    assert keys is reopen_input(keys)
    assert out is reopen_output(out)


@pytest.mark.parametrize(("reopen", "opener"), [(reopen_input, "open_in"), (reopen_output, "open_out")])
def test_device_is_opened_again_by_its_name(reopen, opener: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """While it cannot be opened the lost port stays; then the new one takes its place and the old is let go."""

    class Lost:
        name, closed = "Pad", False

        def close(self) -> None:
            self.closed = True

    lost, fresh = Lost(), Lost()
    monkeypatch.setattr(inputs, opener, no_device)
    first = reopen(lost, api="jack")
    still_open = not lost.closed
    monkeypatch.setattr(inputs, opener, lambda name, api: fresh if (name, api) == ("Pad", "jack") else None)

    assert first is None
    assert still_open
    assert fresh is reopen(lost, api="jack")
    assert lost.closed


def test_script_of_a_journal_keeps_ports_apart(tmp_path: Path) -> None:
    """Two ports with clocks of their own in one journal: each is stamped by itself, the script is in time order."""
    zero_ns = 5_000_000_000_000
    with JournalWriter(tmp_path / "j.jsonl", {"zero_ns": zero_ns}) as journal:
        for k in range(4):
            journal.message(zero_ns + k * 500_000_000, 0.5 if k else 0.0, b"\x90\x3c\x50", "a")
            journal.message(zero_ns + k * 500_000_000 + 100_123_000, 0.400123 if k else 0.0, b"\x90\x3e\x50", "b")
            journal.message(zero_ns + k * 500_000_000 + 200_000_000, 0.099877, b"\xfe", "b")
    script = script_from_file(tmp_path / "j.jsonl")

    assert [k * 500_000 + part for k in range(4) for part in (0, 100_123)] == script.due_us.tolist()
    assert [60, 62] * 4 == [message[1] for message in script.messages]


def test_bad_script_is_an_input_error(tmp_path: Path) -> None:
    """A file that is no MIDI, a folder that is no take: one line each."""
    (tmp_path / "x.mid").write_bytes(b"nothing of the kind")
    for path in (tmp_path / "x.mid", tmp_path, tmp_path / "x.jsonl"):
        with pytest.raises(InputFileError, match=str(tmp_path)):
            script_from_file(path)


def test_empty_script_plays_nothing() -> None:
    """No notes, no messages."""
    script = script_from_notes(make_notes(as_ints([]), np.zeros(0, np.int64)))

    assert 0 == len(script) == script.end_us
