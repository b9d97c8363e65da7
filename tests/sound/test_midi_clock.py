"""The MIDI clock that is sent."""

import numpy as np
import pytest

from heeltap.errors import PlanError
from heeltap.model.arrays import as_ints
from heeltap.model.timeline import TempoMap, steady_tempo
from heeltap.sound.midi_clock import clock_schedule


def test_twenty_four_a_quarter_from_the_count_in_on() -> None:
    """A bar of count-in and two of music at 125 bpm: every clock at its own place, none rounded twice; the start half a
    clock before bar 1."""
    schedule = clock_schedule(steady_tempo(125), from_quarter=-4, to_quarter=8)
    clocks = [at for at, m in zip(schedule.due_us.tolist(), schedule.messages, strict=True) if m == b"\xf8"]

    assert [20_000 * k for k in range(-96, 192)] == clocks
    assert [-10_000] == [at for at, m in zip(schedule.due_us.tolist(), schedule.messages, strict=True) if m == b"\xfa"]
    assert 3_840_000 == schedule.end_us


def test_clock_follows_a_ladder_of_tempi() -> None:
    """A tempo that climbs in the middle: the clocks after it are closer together."""
    tempo = TempoMap(10_080, as_ints([0, 40_320]), as_ints([600_000, 480_000]))
    clocks = clock_schedule(tempo, from_quarter=0, to_quarter=8).due_us[1:]

    assert {25_000} == set(np.diff(clocks[:97]).tolist())
    assert {20_000} == set(np.diff(clocks[96:]).tolist())


def test_song_position_goes_before_continue() -> None:
    """Bar 5 of 4/4 is sixteenth 64: position and continue in place of start, both before the first clock of the song."""
    schedule = clock_schedule(steady_tempo(120), from_quarter=0, to_quarter=1, song_quarter=16)

    assert (b"\xf2\x40\x00", b"\xfb", b"\xf8") == schedule.messages[:3]
    assert b"\xfa" not in schedule.messages


def test_position_that_cannot_be_sent_is_refused() -> None:
    """Fourteen bits of sixteenths."""
    with pytest.raises(PlanError, match=r"song position: 4096 quarters; expected 0 to 4095.75, on a sixteenth"):
        clock_schedule(steady_tempo(120), from_quarter=0, to_quarter=1, song_quarter=4096)
