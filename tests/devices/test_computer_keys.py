"""The computer's keyboard: keys to notes, stamps to deltas."""

import pytest

from heeltap.devices.computer_keys import KEYS, UNCERTAINTY_MS, KeysInPort, key_message


@pytest.mark.parametrize("key", [*KEYS, "J"])
def test_keys_play_percussion(key: str) -> None:
    """Every key of the table plays its sound on channel 10, capitals too."""
    assert bytes((0x99, KEYS[key.lower()], 80)) == key_message(key)


def test_other_keys_play_nothing() -> None:
    """What is not in the table is nobody's note."""
    assert key_message("q") is None
    assert key_message("enter") is None


def test_stamps_become_deltas() -> None:
    """Whoever read the terminal stamped the key; the port passes that on as a driver would."""
    port = KeysInPort()
    port.feed(b"\x99\x26\x50", 5_000_000_000)
    port.feed(b"\x99\x24\x50", 5_250_000_000)
    got = [(port.poll(), port.stamped_ns) for _ in range(2)]

    assert [((b"\x99\x26\x50", 0.0), 5_000_000_000), ((b"\x99\x24\x50", 0.25), 5_250_000_000)] == got
    assert port.poll() is None
    assert UNCERTAINTY_MS >= 10
