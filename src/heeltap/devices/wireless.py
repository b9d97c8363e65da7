"""Wireless routes, which heeltap does not score: told by their names here, by their jitter where heeltap measures it.

Bluetooth MIDI hands messages over once every 7.5-15 ms (the standard's range of intervals), Bluetooth audio comes 100 to
300 ms late and not always the same (common experience, no source). `heeltap.gear.selftest` and
`heeltap.gear.microphone` measure.

Inside: `is_wireless`, `WHY`.
"""

import re

__all__ = ["WHY", "is_wireless"]

_WORDS = re.compile(r"(?<![a-z0-9])(bluetooth|ble|bt-?midi|a2dp|hfp|hands-?free|wireless|wifi|rtp-?midi)(?![a-z0-9])")

WHY = (
    "heeltap does not score wireless routes: Bluetooth hands notes over every 7.5 to 15 ms and sound 100 to 300 ms late, "
    "not always the same"
)


def is_wireless(name: str) -> bool:
    """Whether the name of a port or sound device says that it goes through the air.

    >>> is_wireless("Pad Bluetooth"), is_wireless("BLE-MIDI 1"), is_wireless("Cable Pad"), is_wireless("Table drum")
    (True, True, False, False)
    """
    return _WORDS.search(name.casefold().replace("_", " ")) is not None
