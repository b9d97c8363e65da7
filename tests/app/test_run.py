"""Drills in real time through a scripted player, in a process of their own: from the first click to the kept take."""

import os
import signal
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.run import INTERRUPTED, DrillOutcome, Run, Settings, drill
from heeltap.app.takes.finish_take import recover
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.clock import SystemClock
from heeltap.devices.fake import script_from_notes
from heeltap.errors import PortError, TakeFileError
from heeltap.files.paths import takes_dir
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.files.takes.journal import read_journal
from heeltap.model.notes import make_notes
from heeltap.model.plan import Section
from heeltap.session.session import BarDone, Effect, Feedback, Phase, State
from tests.makers.drills import counted_plan

ROOT = Path(__file__).resolve().parents[2]

OFFSETS_MS = [-4.0, 11.0, 9.0, 38.0, 0.0, -20.0, 5.5, 30.0, -30.0, 1.0, 2.0, 3.0, 0.0, 0.0, None, 7.0]


def a_drill(bars: int = 4, bpm: float = 300.0) -> Drill:
    """Quarters, fast enough for a test."""
    sections = [Section("verse", 1, bars // 2), Section("chorus", bars // 2 + 1, bars)] if bars > 1 else []
    plan = counted_plan(["1 2 3 4"] * bars, bpm=bpm, sections=sections)
    return Drill("quarters", "Quarters", "", plan, None, 1, 0.0, None, None, None)


def settings(what: Drill, offsets_ms: list[float | None], **more: object) -> Settings:
    """A scripted player at known offsets, and no click to hear."""
    kept = [(int(at) + round(ms * 1000)) for at, ms in zip(what.plan.at_us, offsets_ms, strict=True) if ms is not None]
    script = script_from_notes(make_notes(kept, [60] * len(kept), [80] * len(kept), duration_us=[50_000] * len(kept)))
    return Settings("fake:", script=script, **{"start_delay_us": 100_000, **more})


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[DrillOutcome, list[State], list[Effect]]:
    """One whole drill, its states and its effects."""
    states: list[State] = []
    effects: list[Effect] = []

    def face(state: State, new: tuple[Effect, ...]) -> None:
        states.append(state)
        effects.extend(new)

    what = a_drill()
    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path_factory.mktemp("takes")), face)
    return outcome, states, effects


@pytest.mark.live
def test_a_drill_and_the_scoring_of_its_saved_file_give_the_same_result(
    played: tuple[DrillOutcome, list[State], list[Effect]],
) -> None:
    """Note for note, number for number."""
    outcome, _, _ = played
    assert outcome.folder is not None

    again = score_kept(outcome.folder / "take.mid")

    assert outcome.result == again
    assert (again.counts.planned, again.counts.matched, again.counts.missed) == (16, 15, 1)


@pytest.mark.live
def test_the_offsets_of_the_player_come_back(played: tuple[DrillOutcome, list[State], list[Effect]]) -> None:
    """Through engine, journal, file and alignment, each offset is what was played to half a tick of the file."""
    outcome, _, _ = played
    assert outcome.result is not None

    found = [note.offset_ms for note in outcome.result.notes if note.offset_ms is not None]

    assert found == pytest.approx([ms for ms in OFFSETS_MS if ms is not None], abs=0.006)


@pytest.mark.live
def test_the_screen_saw_the_same_as_the_result(played: tuple[DrillOutcome, list[State], list[Effect]]) -> None:
    """The light matcher agrees with the full one on an ordinary take, and every bar was told once."""
    outcome, states, effects = played
    live = [stroke.offset_us for stroke in outcome.state.strokes]

    assert live == [None if ms is None else round(ms * 1000) for ms in OFFSETS_MS]
    assert [effect.result.bar.number for effect in effects if isinstance(effect, BarDone)] == [1, 2, 3, 4]
    assert [phase for phase in Phase if phase in {state.phase for state in states}] == [
        Phase.COUNT_IN,
        Phase.PLAYING,
        Phase.DONE,
    ]


@pytest.mark.live
def test_the_take_holds_the_raw_messages(played: tuple[DrillOutcome, list[State], list[Effect]]) -> None:
    """The journal has every message to the nanosecond, every click, and an orderly end."""
    outcome, _, _ = played
    assert outcome.folder is not None
    journal = read_journal(outcome.folder / "journal.jsonl")
    played_us = (journal.arrival_ns - journal.zero_ns) // 1000

    ons = [int(us) for us, data in zip(played_us, journal.data, strict=True) if data[0] == 0x90]

    assert ons == [round(200_000 * i + ms * 1000) for i, ms in enumerate(OFFSETS_MS) if ms is not None]
    assert journal.click_due_us.tolist() == list(range(-800_000, 3_200_000, 200_000))
    assert journal.closed


@pytest.mark.live
def test_a_take_that_is_stopped_is_judged_up_to_there(tmp_path: Path) -> None:
    """Ctrl-C keeps the take; what was not reached is not missed."""
    what = a_drill()

    def face(state: State, _: tuple[Effect, ...]) -> None:
        if state.now_us > 900_000 and state.phase is Phase.PLAYING:
            os.kill(os.getpid(), signal.SIGINT)

    outcome = drill(what, settings(what, [0.0] * 16, takes=tmp_path), face)

    assert outcome.ending == INTERRUPTED
    assert outcome.result is not None
    assert (outcome.result.counts.matched, outcome.result.counts.missed) == (outcome.result.counts.planned, 0)
    assert 4 <= outcome.result.counts.planned <= 7
    assert any("ended early" in warning for warning in outcome.result.warnings)
    assert outcome.folder is not None
    assert outcome.result == score_kept(outcome.folder)


@pytest.mark.slow
def test_an_engine_that_dies_is_said_and_the_take_is_kept(tmp_path: Path) -> None:
    """The notes until then are there, judged, and the ending says what broke."""
    what = a_drill()
    children: list[int] = []

    def face(state: State, _: tuple[Effect, ...]) -> None:
        if state.now_us > 1_300_000 and not children:
            children.extend(_children())
            os.kill(children[0], signal.SIGKILL)

    outcome = drill(what, settings(what, [0.0] * 16, takes=tmp_path), face)

    assert "unexpectedly" in outcome.ending
    assert outcome.result is not None
    assert outcome.result.counts.matched >= 4
    assert outcome.result.counts.missed <= 2  # what was played in the last quarter second may not have been written


def _children() -> list[int]:
    """Processes that this one started and that run an engine."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rsplit(")", 1)[1].split()
            command = (path.parent / "cmdline").read_bytes()
        except OSError:
            continue
        if int(fields[1]) == os.getpid() and b"spawn_main" in command:
            found.append(int(path.parent.name))
    return found


@pytest.mark.slow
def test_a_take_that_cannot_be_kept_is_judged_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk at the end: the result is there, the problem is said, and the next start can still finish the take."""
    what = a_drill(bars=1)

    def full(*_: object, **__: object) -> None:
        raise TakeFileError("take.mid", "cannot be written: No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr("heeltap.app.drill.run.finish_take", full)
        outcome = drill(what, settings(what, [5.0, None, 0.0, -7.0], takes=tmp_path), lambda state, new: None)

    assert "No space left" in outcome.problem
    assert outcome.result is not None
    assert [note.offset_ms for note in outcome.result.notes if note.offset_ms is not None] == [5.0, 0.0, -7.0]
    assert [one.problem for one in recover(tmp_path)] == [""]


@pytest.mark.slow
def test_nothing_is_left_behind_when_nothing_was_played(tmp_path: Path) -> None:
    """A drill without a note leaves no take and says so."""
    what = a_drill(bars=1)

    outcome = drill(what, settings(what, [None] * 4, takes=tmp_path), lambda state, new: None)

    assert (outcome.folder, outcome.result, outcome.problem) == (None, None, "")
    assert list_takes(tmp_path) == []
    assert list((tmp_path / ".open").iterdir()) == []


@pytest.mark.live
def test_a_port_that_is_not_there_leaves_nothing_behind(tmp_path: Path) -> None:
    """The error comes through from the engine, and the take that was opened for it is gone."""
    with pytest.raises(PortError):
        drill(a_drill(), Settings("no such device", takes=tmp_path), lambda state, new: None)

    assert list((tmp_path / ".open").iterdir()) == []


_VICTIM = """
import sys
sys.path.insert(0, sys.argv[1])
from tests.app.test_run import a_drill, settings
from heeltap.app.drill.run import drill
def face(state, new):
    print(state.now_us, flush=True)
if __name__ == "__main__":
    what = a_drill(bars=8)
    drill(what, settings(what, [5.0] * 32), face)
"""


@pytest.mark.live
def test_a_take_survives_kill_9(tmp_path: Path) -> None:
    """Killed in the middle without warning: the next start has everything up to the last second, and judges it."""
    script = tmp_path / "victim.py"
    script.write_text(_VICTIM)
    with subprocess.Popen([sys.executable, str(script), str(ROOT)], stdout=subprocess.PIPE, text=True) as victim:
        assert victim.stdout is not None
        now_us = 0
        for line in victim.stdout:
            now_us = int(line)
            if now_us > 2_000_000:
                break
        victim.kill()
    clock = SystemClock()
    clock.sleep_until_ns(clock.now_ns() + 300_000_000)  # the orphaned engine notices that its partner is gone

    found = recover(takes_dir())

    assert [one.problem for one in found] == [""]
    assert found[0].folder is not None
    take = load_take(found[0].folder)
    assert int(take.notes.onset_us[-1]) >= now_us - 1_000_000
    result = score_kept(found[0].folder)
    assert result.counts.matched == result.counts.planned == len(take.notes)
    assert [note.offset_ms for note in result.notes] == pytest.approx([5.0] * len(take.notes), abs=0.006)
    assert any("the drill ended before the take was kept" in warning for warning in result.warnings)
    assert recover(takes_dir()) == []


def test_a_damaged_leftover_is_set_aside_once(tmp_path: Path) -> None:
    """A take that cannot be recovered is said once, kept, and does not stop the next start."""
    folder = tmp_path / ".open" / "broken"
    folder.mkdir(parents=True)
    (folder / "journal.jsonl").write_bytes(b'{"t0":0}\n{"t":1.0,"bytes":[144,60,90],"dt":0}\n')
    (folder / "context.json").write_bytes(b"{}")

    first, second = recover(tmp_path), recover(tmp_path)

    assert len(first) == 1
    assert "context" in first[0].problem
    assert first[0].folder is not None
    assert (first[0].folder / "journal.jsonl").is_file()
    assert second == []


@pytest.mark.slow
def test_the_feedback_of_a_take_is_what_its_number_says(tmp_path: Path) -> None:
    """With fade, the take counts the earlier ones of the same exercise."""
    what = a_drill(bars=1)
    seen: list[Feedback] = []
    for _ in range(2):
        drill(
            what,
            settings(what, [0.0] * 4, takes=tmp_path, feedback=Feedback.FADE),
            lambda state, new: seen.append(state.feedback),
        )

    numbers = [load_take(folder).context.take_number for folder in list_takes(tmp_path)]

    assert numbers == [1, 2]
    assert set(seen) == {Feedback.BAR}
    assert np.all([asdict(score_kept(folder))["counts"]["matched"] == 4 for folder in list_takes(tmp_path)])


@pytest.mark.live
def test_a_pause_leaves_no_trace_in_the_take(tmp_path: Path) -> None:
    """Paused in bar 2 and resumed: every stroke is there once, at its own offset, and nothing is left out."""
    what = a_drill()
    clock = SystemClock()
    run = Run(what, settings(what, OFFSETS_MS, takes=tmp_path, out_port="fake:"), clock=clock)
    paused = False
    while not run.over:
        clock.sleep_until_ns(clock.now_ns() + 10_000_000)
        run.turn()
        if not paused and run.state.phase is Phase.PLAYING and run.now_us > 1_300_000:
            run.pause()
            before = run.state.now_us
            clock.sleep_until_ns(clock.now_ns() + 400_000_000)
            run.turn()
            assert before == run.state.now_us
            run.resume()
            paused = True
    outcome = run.finish()
    assert outcome.result is not None
    assert outcome.folder is not None
    take = load_take(outcome.folder)

    assert paused
    assert "played" == outcome.ending
    assert [] == take.context.left_out
    assert [round(ms, 1) for ms in OFFSETS_MS if ms is not None] == [
        round(note.offset_ms, 1) for note in outcome.result.notes if note.offset_ms is not None
    ]
    assert (1, 0) == (outcome.result.counts.missed, outcome.result.counts.extra)


@pytest.mark.live
def test_a_sound_that_cannot_be_opened_does_not_stop_the_drill(tmp_path: Path) -> None:
    """No sound device of this name: the take is played and judged, and the player is told to watch the beat."""
    what = a_drill(bars=1)
    told: list[str] = []

    outcome = drill(
        what,
        settings(what, [4.0, -6.0, 0.0, 9.0], takes=tmp_path, out_port="audio:no such card"),
        lambda state, _: told.append(state.notice),
    )

    assert ("played", 4) == (outcome.ending, outcome.result.overall.n if outcome.result else 0)
    assert any("Nothing sounds, so watch the beat: " in text for text in told)
