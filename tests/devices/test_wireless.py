"""Ports that go through the air, by name."""

import pytest

from heeltap.devices.wireless import is_wireless


@pytest.mark.parametrize(
    ("name", "through_the_air"),
    [
        ("Pad Bluetooth", True),
        ("BLE-MIDI Port 1", True),
        ("pad_ble_1", True),
        ("Headset Hands-Free", True),
        ("Wireless Keys", True),
        ("heeltap:cable pad", False),
        ("Table drum", False),
        ("Marble 2", False),
        ("", False),
        ("robot:out", False),
    ],
)
def test_names_that_say_so(name: str, through_the_air: bool) -> None:
    """Whole words count, letters inside a word do not."""
    assert through_the_air == is_wireless(name)
