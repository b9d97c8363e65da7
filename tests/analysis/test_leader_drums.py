"""A drum part as the leader: read whole, followed by kick and snare."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import kick_and_snare
from heeltap.files.smf import read_midi
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import steady_metre, steady_tempo


def groove(kick_ms: float, hat_ms: float, bars: int = 16) -> Notes:
    """Kick on one and three, snare on two and four, hats in eighths at 120; kick and snare and hats each off by so much."""
    rows = []
    for bar in range(bars):
        for eighth in range(8):
            at = 250_000 * (8 * bar + eighth)
            rows.append((at + round(1000 * hat_ms), 42))
            if eighth % 2 == 0:
                rows.append((at + round(1000 * kick_ms), 36 if eighth % 4 == 0 else 38))
    rows = sorted(row for row in rows if row[0] >= 0)
    return make_notes([at for at, _ in rows], [pitch for _, pitch in rows], channel=9)


def test_the_leading_notes_own_time_counts() -> None:
    """Kick and snare 12 ms late under hats 6 ms early: the leader is 12 ms late, whatever the stroke's median says."""
    leader = follow_drums(groove(12.0, -6.0), steady_tempo(120), steady_metre())

    assert leader.offset_ms == pytest.approx(np.full(leader.offset_ms.size, 12.0), abs=0.01)
    assert set(np.mod(leader.quarter, 1).tolist()) == {0.0}


def test_a_known_delay_is_taken_away() -> None:
    """The drums' own 30 ms of delay do not make the drummer late."""
    leader = follow_drums(groove(30.0, 30.0), steady_tempo(120), steady_metre(), delay_ms=30.0)

    assert leader.offset_ms == pytest.approx(np.zeros(leader.offset_ms.size), abs=0.01)


def test_a_part_without_kick_or_snare_is_a_silent_leader() -> None:
    """Cymbals alone lead nobody."""
    hats = make_notes(np.arange(0, 4_000_000, 250_000), np.full(16, 42), channel=9)

    assert follow_drums(hats, steady_tempo(120), steady_metre()).fit is None


@pytest.mark.outside
@pytest.mark.slow
def test_recorded_drummers_are_not_shifted_by_a_slot(outside_data: Path) -> None:
    """Kick and snare of each of the 17 grooves lie within 40 ms of the click in the median, none a sixteenth away."""
    medians = []
    for file in sorted((outside_data / "groove").glob("*.mid")):
        midi = read_midi(file)
        drums = Notes(midi.onset_us, midi.pitch, midi.velocity, midi.channel, midi.track, midi.duration_us)
        leader = follow_drums(drums, midi.tempo, midi.metre)
        assert leader.quarter.size > 0.5 * len(np.unique(kick_and_snare(drums).onset_us // 30_000))
        medians.append(float(np.median(leader.offset_ms)))

    assert len(medians) == 17
    assert np.abs(medians).max() < 40.0
