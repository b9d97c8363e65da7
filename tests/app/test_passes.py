"""Each pass of a loop is a take of its own, cut out of the one recording."""

from pathlib import Path

import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.run import DrillOutcome, Settings, drill
from heeltap.app.drill.settings import context_of
from heeltap.app.drill.where_kept import where_kept
from heeltap.app.route.route import Route
from heeltap.app.takes.finish_take import finish_take, recover
from heeltap.app.takes.history import history
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.app.takes.passes import LOOPS, Loop, split_loop
from heeltap.devices.fake import script_from_notes
from heeltap.files.takes.folder import list_takes, load_take, open_take, read_context
from heeltap.files.takes.journal import JournalWriter, read_journal
from heeltap.model.messages import is_note_on
from heeltap.model.notes import make_notes
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import begin
from tests.app.test_run import a_drill
from tests.makers.led_songs import write_led_song

BAR_US = 2_000_000
ZERO_NS = 10**10

MEANS_MS = (20.0, 5.0, -10.0)


def kept_loop(tmp_path: Path, *, until_us: int | None = None, delay_ms: float = 0.0, killed: bool = False) -> Path:
    """Three passes of bars 2 and 3, each with its own average; the first stroke of every pass but the first 30 ms early."""
    song = drill_of(str(write_led_song(tmp_path / "song.mid", lambda _: 0)), part="keys", click="part:drums")
    loop, takes = drill_bars(song, (2, 3), passes=3), tmp_path / "takes"
    context = context_of(loop, Settings("pad", "synth", takes=takes), Route(delay_ms=delay_ms))
    take = open_take(takes, context)
    with JournalWriter(take.journal, {"zero_ns": ZERO_NS}) as journal:
        rows = zip(loop.schedule.due_us.tolist(), loop.schedule.messages, strict=True)
        for row, (due, message) in enumerate((due, message) for due, message in rows if is_note_on(message)):
            journal.click(row, due, due, message[1])
        for at in loop.plan.at_us.tolist():
            number = at // (2 * BAR_US)
            early = number > 0 and at % (2 * BAR_US) == 0
            us = at + round(1000 * (delay_ms + (-30.0 if early else MEANS_MS[number])))
            if until_us is None or us < until_us:
                journal.message(ZERO_NS + 1000 * us, 0.0, (0x90, 60, 80))
                journal.message(ZERO_NS + 1000 * us + 600_000_000, 0.6, (0x80, 60, 0))
    if killed:
        take.lock.release()
        return take.folder
    return finish_take(take, context, ending="played" if until_us is None else "stopped", judged_to_us=until_us)


@pytest.mark.parametrize("delay_ms", [pytest.param(0.0, marks=pytest.mark.slow), 60.0])
def test_each_pass_has_its_own_numbers(tmp_path: Path, delay_ms: float) -> None:
    """Sixteen strokes each, the early first one with them, its own average; a known delay moves no stroke to another pass."""
    folder = kept_loop(tmp_path, delay_ms=delay_ms)
    loop = split_loop(folder, 3)
    results = [score_kept(path) for path in loop.passes]
    first = [result.notes[0].offset_ms for result in results]

    assert [(16, 0, 0)] * 3 == [(r.counts.matched, r.counts.missed, r.counts.extra) for r in results]
    assert first == pytest.approx([20.0, -30.0, -30.0], abs=0.1)
    for result, mean in zip(results, MEANS_MS, strict=True):
        assert [mean] * 15 == pytest.approx([note.offset_ms for note in result.notes[1:]], abs=0.1)


@pytest.mark.slow
def test_the_whole_recording_stays_and_the_history_has_the_passes(tmp_path: Path) -> None:
    """Three takes in the list, one after another; the loop lies aside, whole, and is scored as before."""
    folder = kept_loop(tmp_path)
    whole = score_kept(folder)
    loop = split_loop(folder, 3)

    assert tmp_path / "takes" / LOOPS / folder.name == loop.whole
    assert whole == score_kept(loop.whole)
    assert sorted(loop.passes) == list_takes(tmp_path / "takes")
    assert [f"song.mid, keys, bars 2-3, pass {k} of 3" for k in (1, 2, 3)] == [
        take.title for take in history(tmp_path / "takes").takes
    ]
    assert {folder.name} == {read_context(path).loop for path in loop.passes}
    assert [1, 1, 1] == [read_context(path).passes for path in loop.passes]


def test_a_pass_keeps_its_clicks_drums_and_messages(tmp_path: Path) -> None:
    """Its journal begins at its own bar line; the drums that lead it are those of its bars."""
    loop = split_loop(kept_loop(tmp_path), 3)
    second = load_take(loop.passes[1])
    journal = read_journal(loop.passes[1] / "journal.jsonl")

    assert ZERO_NS + 2 * BAR_US * 1000 == journal.zero_ns
    assert (0, 2 * BAR_US) == (int(journal.click_due_us.min()), int(journal.click_due_us.max()) + 250_000)
    assert 16 == sum(data[0] == 0x90 for data in journal.data)
    assert second.context.drums is not None
    assert second.context.drums_lead
    assert (0, 24) == (second.context.drums.at_us[0], len(second.context.drums.at_us))
    assert 16 == len(second.notes)
    assert [600_000] * 16 == pytest.approx(second.notes.duration_us.tolist(), abs=100)


def test_a_loop_that_was_stopped_keeps_what_was_played(tmp_path: Path) -> None:
    """In the middle of pass 2: a whole one, and one that ends there; nothing that was not reached is missed."""
    loop = split_loop(kept_loop(tmp_path, until_us=3 * BAR_US + 100_000), 3)
    results = [score_kept(path) for path in loop.passes]
    contexts = [read_context(path) for path in loop.passes]

    assert [16, 9] == [result.counts.planned for result in results]
    assert [0, 0] == [result.counts.missed for result in results]
    assert [("played", None), ("stopped", BAR_US + 100_000)] == [(one.ending, one.judged_to_us) for one in contexts]


def test_one_pass_is_the_take_itself(tmp_path: Path) -> None:
    """A loop that ends in its first pass, and what is no loop, stay where they are."""
    folder = kept_loop(tmp_path, until_us=BAR_US)

    assert Loop(folder) == split_loop(folder, 3)
    assert [folder] == list_takes(tmp_path / "takes")


def test_a_loop_that_was_killed_is_cut_as_well(tmp_path: Path) -> None:
    """What the next start finishes of it are takes, one a pass."""
    kept_loop(tmp_path, killed=True)
    (found,) = recover(tmp_path / "takes")

    assert ("", 3) == (found.problem, len(list_takes(tmp_path / "takes")))
    assert found.folder == list_takes(tmp_path / "takes")[0]


def test_the_report_says_where_the_passes_are(tmp_path: Path) -> None:
    """Takes of their own, and the whole beside them."""
    state = begin(columns_of(a_drill().plan))
    one = DrillOutcome(tmp_path / "a", None, "played", "", state)
    several = DrillOutcome(tmp_path / ".loops" / "a", None, "played", "", state, "", (tmp_path / "b", tmp_path / "c"))

    assert f"Your take is in {tmp_path / 'a'}" == where_kept(one)
    assert where_kept(several) == (
        f"Your 2 passes are takes of their own in {tmp_path}; the whole loop is in {tmp_path / '.loops' / 'a'}"
    )
    assert "" == where_kept(DrillOutcome(None, None, "stopped", "", state))


@pytest.mark.live
def test_a_loop_that_is_played_ends_as_takes(tmp_path: Path) -> None:
    """From the engine to the history: two passes of a bar of quarters at 300 bpm."""
    loop = drill_bars(a_drill(bars=2), (1, 1), passes=2)
    at_us = loop.plan.at_us.tolist()
    script = script_from_notes(make_notes(at_us, [60] * 8, [80] * 8, duration_us=[50_000] * 8))
    outcome = drill(loop, Settings("fake:", script=script, takes=tmp_path, start_delay_us=100_000), lambda *_: None)

    assert ("", 2) == (outcome.problem, len(outcome.passes))
    assert 2 == len(history(tmp_path).takes)
    assert [4, 4] == [score_kept(path).counts.matched for path in outcome.passes]
