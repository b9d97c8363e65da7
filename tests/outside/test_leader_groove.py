"""Recorded drummers as leaders of their own cymbals: what the interval promises holds from one half of a take to the other."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import LEADER_PITCHES, lag_behind
from heeltap.analysis.quantise import quantise
from heeltap.analysis.strokes import strokes
from heeltap.files.smf import read_midi
from heeltap.model.notes import Notes

CYMBALS = (42, 44, 46, 51, 53, 59)

BLOCK_QUARTERS = 16


@pytest.mark.slow
@pytest.mark.outside
def test_two_halves_of_a_take_agree_within_their_intervals(outside_data: Path) -> None:
    """Cymbals dealt into two halves by blocks: the two lags differ by less than their joint interval in 93 % or more.

    The joint interval is 16 ms in the median: the noise models allow for the long memory that real playing has.
    """
    rng = np.random.default_rng(21)
    agree, widths = [], []
    for file in sorted((outside_data / "groove").glob("*.mid")):
        midi = read_midi(file)
        drums = Notes(midi.onset_us, midi.pitch, midi.velocity, midi.channel, midi.track, midi.duration_us)
        leader = follow_drums(drums, midi.tempo, midi.metre)
        grouped = strokes(drums)
        slots = quantise(grouped.at_us, midi.tempo, midi.metre)
        stroke = grouped.stroke_of_note
        rows = np.isin(drums.pitch, CYMBALS) & ~np.isin(drums.pitch, LEADER_PITCHES) & slots.placed[stroke]
        quarter = slots.quarter[stroke[rows]]
        offset = slots.offset_ms[stroke[rows]] + (drums.onset_us[rows] - grouped.at_us[stroke[rows]]) / 1000.0
        block = (quarter // BLOCK_QUARTERS).astype(np.int64)
        for _ in range(10):
            side = (block + rng.integers(0, 2, int(block.max()) + 2)[block // 2]) % 2
            one, two = (lag_behind(leader, quarter[side == half], offset[side == half]) for half in (0, 1))
            if one.ci95 is None or two.ci95 is None or one.value is None or two.value is None:
                continue
            reach = float(np.hypot(one.ci95[1] - one.ci95[0], two.ci95[1] - two.ci95[0])) / 2.0
            agree.append(abs(one.value - two.value) <= reach)
            widths.append(reach)

    assert len(agree) >= 150
    assert np.mean(agree) >= 0.93
    assert np.median(widths) < 20.0
