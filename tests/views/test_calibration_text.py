"""Calibration in words."""

import pytest
from msgspec.structs import replace

from heeltap.files.calibrations import Calibrated
from heeltap.views.calibration_text import words

ROW = Calibrated(
    in_port="Pad",
    out_port="Module",
    method="microphone",
    delay_ms=31.27,
    uncertainty_ms=0.52,
    date="2026-01-02T03:04:05",
    n=23,
    spread_ms=0.31,
    buffer="128 frames",
)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (
            ROW,
            [
                "in Pad, out Module: delay 31.3 ms +- 0.5 ms, by microphone, 23 knocks, with a spread of 0.3 ms",
                "  2026-01-02, buffer 128 frames",
            ],
        ),
        (
            replace(ROW, method="same-path", delay_ms=0.0, out_port="", buffer=""),
            [
                "in Pad, out silent: same output for click and player, nothing to take away (+- 0.5 ms)",
                "  2026-01-02, unknown buffer",
            ],
        ),
        (
            replace(ROW, method="feel", delay_ms=-24.0, spread_ms=None),
            [
                "in Pad, out Module: feel offset -24.0 ms +- 0.5 ms (minus is before the click), 23 taps",
                "  2026-01-02, buffer 128 frames; heeltap never judges early or late by it",
            ],
        ),
    ],
)
def test_each_way_in_words(row: Calibrated, told: list[str]) -> None:
    """Route and result with its uncertainty, then the date and the buffer; the mark is the caller's."""
    assert told == words(row, plus_minus="+-")
