"""Drills to the clock of another device."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.external_clock import LOST, WAITING, Conductor, clock_of
from heeltap.app.drill.run import DrillOutcome, Settings, drill
from heeltap.app.takes.finish_take import recover
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.engine.records import NOTE_ON, TICK, Record
from heeltap.files.takes.folder import JOURNAL, load_take, open_take
from heeltap.files.takes.journal import JournalWriter, read_journal
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.model.arrays import FloatArray
from heeltap.model.messages import Schedule, merge
from heeltap.session.session import Pause, Resume, Say, State, Stop
from tests.makers.clocks import clock_messages, clock_times, notes_on_clock
from tests.makers.drills import counted_plan

BARS = 4
OFFSETS_MS = [-12.0, 5.0, 0.0, 18.0] * BARS


def a_drill() -> Drill:
    """Quarters at 300 bpm, a bar of count-in."""
    plan = counted_plan(["1 2 3 4"] * BARS, bpm=300.0)
    return Drill("quarters", "Quarters", "", plan, None, 1, 0.0, None, None, None)


def one_take(script: Schedule, folder: Path) -> tuple[DrillOutcome, list[str]]:
    """A drill to the clock of its only input, and the notices that it showed."""
    notices: list[str] = []

    def face(state: State, _: object) -> None:
        if not notices or notices[-1] != state.notice:
            notices.append(state.notice)

    settings = Settings("fake:", script=script, follow_clock="fake:", takes=folder, start_delay_us=50_000)
    return drill(a_drill(), settings, face), notices


def scripted(times: FloatArray, rng: np.random.Generator, *, jitter_us: float = 2_000.0) -> Schedule:
    """Clocks with jitter, half a quarter of them before the start, and the player of `OFFSETS_MS` behind the count-in."""
    heard = times + rng.normal(0, jitter_us, times.size)
    clocks = clock_messages(heard, start_us=int(np.sort(heard)[12]))
    struck = 12 + 24 * (4 + np.arange(4 * BARS))
    return merge(clocks, notes_on_clock(times, struck, OFFSETS_MS))


@pytest.mark.live
@pytest.mark.parametrize(
    "kind", ["step", pytest.param("steady", marks=pytest.mark.slow), pytest.param("drift", marks=pytest.mark.slow)]
)
def test_offsets_are_those_from_the_other_devices_beats(kind: str, tmp_path: Path, rng: np.random.Generator) -> None:
    """The device runs at 290 bpm and not at the plan's 300, with 2 ms of jitter: each offset comes back to 2.5 ms, on
    average without bias."""
    times = clock_times(kind, 12 + 24 * (4 * BARS + 7), us_per_quarter=60e6 / 290)
    outcome, notices = one_take(scripted(times, rng), tmp_path)
    assert outcome.result is not None
    found = np.array([note.offset_ms for note in outcome.result.notes], dtype=np.float64)

    assert "played" == outcome.ending
    assert [WAITING, ""] == notices[:2]
    assert 4 * BARS == found.size == outcome.result.counts.matched
    assert np.max(np.abs(found - OFFSETS_MS)) < 2.5
    assert abs(np.mean(found - OFFSETS_MS)) < 1.0
    assert outcome.folder is not None
    assert outcome.result == score_kept(outcome.folder / "take.mid")
    first_us = int(load_take(outcome.folder).plan.tempo.us_per_quarter[0])
    assert 24 * (times[109] - times[108]) == pytest.approx(first_us, rel=0.02)


@pytest.mark.live
def test_bars_without_a_clock_are_bridged(tmp_path: Path, rng: np.random.Generator) -> None:
    """A second's clocks are lost on their way, though the device plays on: said at once, the strokes of the gap are left out,
    and everything behind it is judged in its own bar."""
    times = clock_times("steady", 12 + 24 * (4 * BARS + 7), us_per_quarter=60e6 / 300)
    heard = np.delete(times, np.arange(12 + 24 * 10, 12 + 24 * 15))
    clocks = clock_messages(heard + rng.normal(0, 300.0, heard.size), start_us=int(times[12]) - 2_000)
    struck = 12 + 24 * (4 + np.arange(4 * BARS))
    outcome, notices = one_take(merge(clocks, notes_on_clock(times, struck, OFFSETS_MS)), tmp_path)
    assert outcome.result is not None
    assert outcome.folder is not None
    notes = outcome.result.notes

    assert [WAITING, "", LOST, ""] == notices
    assert "played" == outcome.ending
    assert (0, 0) == (outcome.result.counts.missed, outcome.result.counts.extra)
    assert 9 <= len(notes) < 12  # five beats without a clock, and the beat behind them
    assert all(abs((note.offset_ms or 0.0) - OFFSETS_MS[round((note.beat or 0) - 1)]) < 1.5 for note in notes)
    assert {1, 2, 4} == {note.bar for note in notes}
    assert any(text.startswith("The clock of the other device was gone") for text in outcome.result.warnings)


def test_clock_that_never_starts_judges_nothing(tmp_path: Path, rng: np.random.Generator) -> None:
    """Clocks without a start: the take waits; stopped there, no note is judged."""
    conductor = Conductor(a_drill().plan, 1)
    told = [e for at in range(0, 2_000_000, 20_833) for e in conductor.hear(Record(TICK, value=0xF8, at_us=at))]

    assert [] == told
    assert WAITING == conductor.message
    assert conductor.us_at(3_000_000) < -799_000  # a bar of 300 bpm is 800 ms


def test_stop_continue_and_second_start() -> None:
    """Stop holds the take, continue lets it go on where it was, another start ends it."""
    conductor = Conductor(a_drill().plan, 1)

    def hear(status: int, at_us: int) -> list[object]:
        return list(conductor.hear(Record(TICK, value=status, at_us=at_us)))

    first = hear(0xFA, -1) + [e for k in range(96) for e in hear(0xF8, k * 10_000)]
    place = conductor.us_at(950_000)
    stopped = hear(0xFC, 955_000)
    still = conductor.us_at(5_000_000)
    went_on = hear(0xFB, 6_000_000) + hear(0xF8, 6_001_000)
    again = hear(0xFA, 7_000_000)

    assert [Say("")] == first
    assert -8_333 == pytest.approx(place, abs=100)  # a clock before bar 1 at the plan's 300 bpm
    assert [Say, Pause] == [type(e) for e in stopped]
    assert still - place <= 8_334
    assert [Say, Resume] == [type(e) for e in went_on]
    assert 0 == pytest.approx(conductor.us_at(6_001_000), abs=100)
    assert [Stop] == [type(e) for e in again]


@pytest.mark.slow
def test_recorded_clock_is_found_to_half_a_millisecond(tmp_path: Path, rng: np.random.Generator) -> None:
    """The clocks of a take's journal, freed of a jitter of 2 ms: within 1 ms of where they were meant."""
    times = clock_times("step", 12 + 24 * (4 * BARS + 7), us_per_quarter=60e6 / 290)
    outcome, _ = one_take(scripted(times, rng), tmp_path)
    assert outcome.folder is not None
    heard = clock_of(read_journal(outcome.folder / JOURNAL), 0)
    assert heard is not None
    off_ms = (heard.at_us - times[12 + heard.position]) / 1000

    assert 0 == heard.position[0]
    assert np.sqrt(np.mean(off_ms**2)) < 1.0


def a_journal(path: Path, times: FloatArray, struck: list[int]) -> None:
    """A pad's notes exactly on the clocks of these numbers, and a box that sends its clock and a note at each quarter."""
    zero_ns = 1_000_000_000_000
    ports = ["pad", "box"]
    rows = [(at, 1, b"\xf8") for at in times.tolist()] + [(times[0] - 1, 1, b"\xfa")]
    rows += [(at + 300, 1, b"\x99\x24\x64") for at in times[::24].tolist()]
    rows += [(times[k], 0, b"\x90\x3c\x50") for k in struck]
    rows.sort(key=lambda row: row[0])
    before = {}
    with JournalWriter(path, {"zero_ns": zero_ns, "ports": ports}) as journal:
        for at, port, data in rows:
            at_ns = zero_ns + round(at * 1000)
            journal.message(at_ns, (at_ns - before.get(port, at_ns)) / 1e9, data, ports[port])
            before[port] = at_ns


def test_take_that_was_left_behind_is_judged_by_its_clock(tmp_path: Path) -> None:
    """The program was killed in bar 3: the clock came from an input of its own whose notes are nobody's, two bars are
    judged, and every stroke is on its clock."""
    plan = a_drill().plan
    context = Context(
        heeltap="0",
        name="quarters",
        plan=plan_out(plan),
        in_port="pad",
        count_in_us=800_000,
        clock_input=1,
        date="2026",
    )
    take = open_take(tmp_path, context)
    times = clock_times("step", 24 * 12, us_per_quarter=60e6 / 270) + 12_345
    a_journal(take.journal, times, [24 * beat for beat in range(4, 12)])
    take.lock.release()
    (found,) = recover(tmp_path)
    assert found.folder is not None
    result = score_kept(found.folder)

    assert ("", 8, 0) == (found.problem, result.counts.matched, result.counts.extra)
    assert 0 == result.counts.missed
    assert all(abs(note.offset_ms or 0.0) < 0.2 for note in result.notes)
    assert load_take(found.folder).context.judged_to_us is not None


def test_notes_of_the_clocks_own_input_are_not_the_players() -> None:
    """With one input that is played, a note on the second is dropped while playing."""
    conductor = Conductor(a_drill().plan, 1, played=1)

    assert conductor.place(Record(NOTE_ON, number=36, value=9, which=1)) is None
    assert conductor.place(Record(NOTE_ON, number=36, value=9, which=0)) is not None
