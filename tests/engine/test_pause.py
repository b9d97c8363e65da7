"""A pause stops the click and time with it; after a count the take goes on from the bar line, as if nothing had been."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.takes.finish_take import played_of
from heeltap.clock import FakeClock
from heeltap.devices.fake import FakeInPort, FakeOutPort, script_from_notes
from heeltap.engine.process import EngineSpec, run_here
from heeltap.engine.records import (
    CLICK,
    COUNT_IN,
    DONE,
    MOVED,
    NOTE_ON,
    PAUSE,
    PAUSED,
    PLAYING,
    RESUME,
    STATE,
    Record,
)
from heeltap.engine.resuming import Resumption, resumed_schedule
from heeltap.files.takes.journal import read_journal
from heeltap.model.messages import CLOCK, CONTINUE, Schedule
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import CLICK_SOUNDS, click_schedule, count_click
from heeltap.sound.midi_clock import clock_schedule
from tests.engine.test_process import SECOND, Screen, four_bars

PAUSED_US, RESUMED_US = 3_300_000, 9_000_000
"""In bar 2 of four bars at 120 bpm, and so long after bar 1, beat 1."""

BAR_US = 2_000_000


@pytest.fixture
def run(tmp_path: Path) -> tuple[Screen, FakeOutPort, Path, int]:
    """A player who strikes every quarter 10 ms late, pauses in bar 2 and resumes: screen, output, journal, first zero."""
    planned = np.arange(16) * 500_000
    notes = make_notes(planned + 10_000, [60] * 16, duration_us=[100_000] * 16)
    screen, ordered = Screen(), [False, False]
    zero_ns = 0

    def on_wait(now_ns: int) -> None:
        since_us = (now_ns - zero_ns) // 1000
        if since_us >= PAUSED_US and not ordered[0]:
            ordered[0] = True
            screen.orders.append(Record(PAUSE))
        if since_us >= RESUMED_US and not ordered[1]:
            ordered[1] = True
            screen.orders.append(
                Record(RESUME, number=4, value=4, which=BAR_US, at_us=BAR_US, other_us=BAR_US - 250_000)
            )

    clock = FakeClock(on_wait=on_wait)
    zero_ns = clock.now_ns() + (300_000 + BAR_US) * 1000
    port, output = FakeInPort(script_from_notes(notes), clock.now_ns), FakeOutPort(clock.now_ns)
    spec = EngineSpec(four_bars(), journal=tmp_path / "take.jsonl", count_click=count_click(CLICK_SOUNDS["wood"]))
    run_here(spec, clock, screen, inputs=[port], output=output)
    return screen, output, tmp_path / "take.jsonl", zero_ns


def test_nothing_sounds_while_paused_and_the_count_comes_before_the_bar(
    run: tuple[Screen, FakeOutPort, Path, int],
) -> None:
    """The last click before the pause, silence for 5.7 seconds, four clicks of a count, then bars 2, 3 and 4."""
    _, output, _, zero_ns = run
    ons = [((at - zero_ns) // 1000, data) for at, data in output.sent if data[0] & 0xF0 == 0x90]
    again_us = RESUMED_US + 100_000
    after = [at - again_us for at, _ in ons if at > PAUSED_US]

    assert 3_000_000 == max(at for at, _ in ons if at <= PAUSED_US)
    assert [k * 500_000 for k in range(4 + 12)] == [pytest.approx(at, abs=1_500) for at in after]
    assert [110, 77, 77, 77] * 4 == [data[2] for at, data in ons if at > PAUSED_US]


def test_the_screen_is_told_each_step(run: tuple[Screen, FakeOutPort, Path, int]) -> None:
    """Paused, moved with the new zero, counting in, playing; clicks have their own times on the plan."""
    screen, _, _, zero_ns = run
    states = [record.which for record in screen.of(STATE)]
    (moved,) = screen.of(MOVED)
    clicks = [record.at_us for record in screen.of(CLICK)]

    assert [COUNT_IN, PLAYING, PAUSED, PLAYING] == states[:4]
    assert BAR_US == moved.at_us
    assert RESUMED_US + 100_000 == pytest.approx((moved.other_us - zero_ns) / 1000, abs=1_500)
    assert [-BAR_US + k * 500_000 for k in range(11)] + [k * 500_000 for k in range(16)] == clicks
    assert 1 == len(screen.of(DONE))


def test_the_journal_reads_as_if_there_had_been_no_pause(run: tuple[Screen, FakeOutPort, Path, int]) -> None:
    """Every planned quarter has exactly one note, 10 ms late; clicks of the bar that was played twice count once."""
    screen, _, path, _ = run
    journal = read_journal(path)
    notes, _ = played_of(journal)

    assert 16 < len(screen.of(NOTE_ON))
    assert [k * 500_000 + 10_000 for k in range(16)] == notes.onset_us.tolist()
    assert [100_000] * 16 == notes.duration_us.tolist()
    assert [-BAR_US + k * 500_000 for k in range(20)] == journal.click_due_us.tolist()
    assert np.all(np.abs(journal.click_sent_us - journal.click_due_us) < 2_000)


def test_a_pause_from_which_nobody_comes_back_keeps_what_was_played(tmp_path: Path) -> None:
    """Nothing is cut off where no bar is played again."""
    screen = Screen()
    clock = FakeClock(on_wait=lambda _: None)
    notes = make_notes([0, 500_000], [60, 60], duration_us=[1, 1])

    def order(now_ns: int) -> None:
        if now_ns > start_ns + 4 * SECOND:
            screen.orders.append(Record(PAUSE))
        if now_ns > start_ns + 5 * SECOND:
            screen.closed_by_peer = True

    clock = FakeClock(on_wait=order)
    start_ns = clock.now_ns()
    port = FakeInPort(script_from_notes(notes), clock.now_ns)
    spec = EngineSpec(four_bars(), journal=tmp_path / "take.jsonl")
    run_here(spec, clock, screen, inputs=[port], output=None)

    assert [0, 500_000] == played_of(read_journal(tmp_path / "take.jsonl"))[0].onset_us.tolist()


def test_another_device_is_told_its_place_and_to_go_on() -> None:
    """Song position of bar 3 of four, continue, then every clock from there on; no second start."""
    schedule = clock_schedule(steady_tempo(120), from_quarter=0.0, to_quarter=16.0)
    rest = resumed_schedule(schedule, Resumption(4_000_000, 2_000_000, 4, 4), None)
    before = [message for message in rest.messages if message[0] != 0xF8]

    assert [bytes((0xF2, 32, 0)), CONTINUE] == before
    assert 8 * 24 == rest.kind.count(CLOCK)
    assert 4_000_000 == int(rest.due_us[0])


def test_a_note_that_began_before_is_not_ended_again() -> None:
    """Its note-off would end a note that began since."""
    messages = (b"\x99\x24\x64", b"\x99\x26\x64", b"\x89\x24\x00", b"\x89\x26\x00")
    schedule = Schedule(np.array([900, 1_000, 1_100, 1_200]), messages, ("drum", "drum", "off", "off"), 2_000)
    rest = resumed_schedule(schedule, Resumption(1_000, 0, 0, 4), None)

    assert [(1_000, messages[1]), (1_200, messages[3])] == list(zip(rest.due_us.tolist(), rest.messages, strict=True))


def test_a_count_is_evenly_spaced_with_its_ones() -> None:
    """Two bars of three at a bar line: louder on the first of each, let go 40 ms later."""
    click = click_schedule(steady_tempo(120), steady_metre(3, 4), 2)
    rest = resumed_schedule(click, Resumption(1_500_000, 3_000_000, 6, 3), count_click(CLICK_SOUNDS["wood"]))
    count = [(due, data[2]) for due, data in zip(rest.due_us.tolist(), rest.messages, strict=True) if due < 1_500_000]

    assert [(-1_500_000 + k * 500_000, 77 if k % 3 else 110) for k in range(6)] == count[::2]
    assert [-1_460_000 + k * 500_000 for k in range(6)] == [due for due, _ in count[1::2]]
