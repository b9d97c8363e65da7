"""How a player plays: several inputs, hands, pads and controls through whole drills and through scoring."""

from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, analyse
from heeltap.app.drill.drill import Drill, drill_of
from heeltap.app.drill.player_setup import Player, check_controls, pads_for, player_of, with_learned_pads
from heeltap.app.drill.run import Settings, drill
from heeltap.app.score.score import score_file
from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.devices.fake import script_from_notes
from heeltap.errors import PlanError
from heeltap.files.settings import PadSet, Stored
from heeltap.files.smf.reader import read_midi
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.folder import load_take
from heeltap.files.takes.journal import read_journal
from heeltap.model.notes import Notes, make_notes
from heeltap.model.played import Played
from heeltap.model.timeline import steady_tempo
from heeltap.session.handsfree import Controls, Trigger
from tests.app.test_run import a_drill
from tests.makers.drills import counted_plan

BEAT = 200_000


def midi(path: Path, at_us: list[int], pitch: list[int]) -> str:
    """The name of a scripted player; a file at 300 bpm with a tick of 20 us or so."""
    notes = make_notes(at_us, pitch, duration_us=[40_000] * len(at_us))
    write_midi(path, [TrackOut(notes)], tempo=steady_tempo(300.0))
    return f"fake:{path}"


@pytest.mark.live
def test_a_drill_on_two_inputs_is_one_take(tmp_path: Path) -> None:
    """Every stroke finds its note whichever device it came from; the file has a track a port; scoring agrees."""
    what = a_drill()
    odd = midi(tmp_path / "odd.mid", [i * BEAT + 8_000 for i in range(0, 16, 2)], [38] * 8)
    even = midi(tmp_path / "even.mid", [i * BEAT - 6_000 for i in range(1, 16, 2)], [60] * 8)
    settings = Settings(odd, takes=tmp_path / "takes", start_delay_us=100_000, player=Player((even,)))

    outcome = drill(what, settings, lambda state, new: None)

    assert outcome.folder is not None
    assert outcome.result is not None
    take = load_take(outcome.folder)
    assert (outcome.result.counts.matched, outcome.result.counts.missed) == (16, 0)
    assert take.notes.track.tolist() == [0, 1] * 8
    assert [n.offset_ms for n in outcome.result.notes] == pytest.approx([8.0, -6.0] * 8, abs=0.1)
    assert outcome.result == score_kept(outcome.folder)
    assert read_journal(outcome.folder / "journal.jsonl").header["ports"] == ["fake:odd.mid", "fake:even.mid"]
    assert [part.name for part in read_midi(outcome.folder / "take.mid").parts] == [odd, even]


@pytest.mark.live
def test_a_control_is_neither_a_note_nor_a_stroke(tmp_path: Path) -> None:
    """A pad that stops the take ends it, is in the journal, and is missing from the file and the score."""
    what = a_drill()
    at = [0, BEAT, 2 * BEAT, 3 * BEAT, 3 * BEAT + 100_000, 4 * BEAT]
    script = script_from_notes(make_notes(at, [60, 60, 60, 60, 49, 60], duration_us=[20_000] * 6))
    controls = Controls({"stop": Trigger("key", 49)})
    settings = Settings(
        "fake:", script=script, takes=tmp_path, start_delay_us=100_000, player=Player(controls=controls)
    )

    outcome = drill(what, settings, lambda state, new: None)

    assert outcome.folder is not None
    assert outcome.result is not None
    assert outcome.ending == "stopped"
    assert outcome.state.extras == ()
    assert 49 not in load_take(outcome.folder).notes.pitch.tolist()
    assert any(data[:2] == b"\x90\x31" for data in read_journal(outcome.folder / "journal.jsonl").data)
    assert (outcome.result.counts.matched, outcome.result.counts.extra) == (4, 0)


def test_pads_play_exercises_on_their_own_keys() -> None:
    """The learned key goes into the plan and into the exercise that the take keeps; other voices stay."""
    drum = drill_of("turn 8")
    stored = Stored(pads=(PadSet("Kit", {"snare": 40, "cowbell": 56}),))
    before, keys = drum.plan.pitch.tolist(), pads_for(stored, ["Kit A"])

    moved = with_learned_pads(drum, keys)

    assert keys == {"snare": 40, "cowbell": 56}
    assert 38 in before
    assert [40 if pitch == 38 else pitch for pitch in before] == moved.plan.pitch.tolist()
    assert moved.exercise is not None
    assert "40" in moved.exercise
    assert with_learned_pads(drum, {}) is drum


def test_settings_and_options_make_the_player() -> None:
    """An option replaces the settings' for its action only; none drops it; a pad's window goes to its key."""
    stored = Stored(
        split_key=60,
        controls={"start": "cc64", "stop": "pad crash"},
        pads=(PadSet("Kit", {"crash": 57, "snare": 38}, {"snare": 45.0}),),
    )

    player = player_of(stored, ["Kit", "Keys"], control=["start=C#3", "stop=none", "repeat=pad snare"])

    assert player == Player(
        ("Keys",), 60, {38: 45.0}, Controls({"start": Trigger("key", 49), "repeat": Trigger("key", 38)})
    )
    assert player_of(stored, ["Kit"], split="none").split_key is None
    assert player_of(stored, ["Kit"], split="F3").split_key == 53
    for wrong in ("start", "strt=cc64", "stop=pad ride"):
        with pytest.raises(PlanError):
            player_of(stored, ["Kit"], control=[wrong])


def test_a_control_that_the_exercise_wants_played_is_refused() -> None:
    """A key cannot be both; the error says how to do without."""
    player = Player(controls=Controls({"stop": Trigger("key", 38)}))

    with pytest.raises(PlanError, match="stop=none"):
        check_controls(player, drill_of("turn 8").plan)
    check_controls(player, counted_plan(["1 2 3 4"], pitches=(60,)))


def a_hands_take(rng: np.random.Generator, *, left_ms: float, right_ms: float, bars: int = 16) -> Notes:
    """Eighths at 120, L R L L R L R R: left on C3, right on C5, each hand with its own bias, neither tied to the beat."""
    at = np.arange(bars * 8) * 250_000
    right = np.tile([False, True, False, False, True, False, True, True], bars)
    bias = np.where(right, right_ms, left_ms) + 4.0 * rng.standard_normal(at.size)
    return make_notes(np.maximum(at + np.round(1000 * bias).astype(np.int64), 0), np.where(right, 72, 48))


def test_a_split_tells_the_hands_of_a_recorded_take(rng: np.random.Generator, tmp_path: Path) -> None:
    """With --split a left hand that comes 20 ms early is found as such; without, nothing is said of hands."""
    notes = a_hands_take(rng, left_ms=-20.0, right_ms=0.0)
    write_midi(tmp_path / "t.mid", [TrackOut(notes)], tempo=steady_tempo(120.0))

    with_split = score_file(tmp_path / "t.mid", delay_ms=0.0, split="C4")
    without = score_file(tmp_path / "t.mid", delay_ms=0.0)

    assert "hands" in [finding.code for finding in with_split.findings]
    assert "hands" not in [finding.code for finding in without.findings]


def test_a_plan_of_hands_on_any_key_keeps_them_apart() -> None:
    """Where the left hand's stroke was left out, the right hand's note beside it is not taken for it."""
    plan = counted_plan(["1& 2& 3& 4&"])
    plan = type(plan)(
        **{name: getattr(plan, name) for name in plan.__slots__ if name != "hand"}, hand=np.array([1, 2] * 4, np.int64)
    )
    at = [0, 180_000, 500_000, 750_000, 1_000_000, 1_250_000, 1_500_000, 1_750_000]
    pitch = [48, 48, 48, 72, 48, 72, 48, 72]  # the second note is a stray one of the left hand
    played = Played(make_notes(at, pitch), plan.tempo, plan.metre, plan)

    apart = analyse(played, Options(delay_ms=0.0, split_key=60))
    together = analyse(played, Options(delay_ms=0.0))

    assert (together.counts.matched, together.counts.missed) == (8, 0)
    assert (apart.counts.missed, apart.counts.extra) == (1, 1)


@pytest.mark.live
def test_a_drill_of_hands_sees_them_live_and_afterwards(tmp_path: Path) -> None:
    """The screen marks a stroke of the wrong hand as another key; the take keeps the split and is scored with it."""
    what = hands_drill()
    at = [i * BEAT for i in range(16)]
    pitch = [48 if i % 2 == 0 else 72 for i in range(16)]
    script = script_from_notes(make_notes(at, pitch, duration_us=[20_000] * 16))
    settings = Settings("fake:", script=script, takes=tmp_path, start_delay_us=100_000, player=Player(split_key=60))

    outcome = drill(what, settings, lambda state, new: None)

    assert outcome.folder is not None
    assert outcome.result is not None
    assert {stroke.status.value for stroke in outcome.state.strokes} == {"played"}
    assert load_take(outcome.folder).context.split_key == 60
    assert outcome.result.counts.matched == 16
    assert outcome.result == score_kept(outcome.folder)


def hands_drill() -> Drill:
    """Quarters, left and right in turn, on any key."""
    what = a_drill()
    plan = what.plan
    turned = type(plan)(
        **{name: getattr(plan, name) for name in plan.__slots__ if name != "hand"}, hand=np.array([1, 2] * 8, np.int64)
    )
    return Drill("hands", "Hands", "", turned, None, 1, 0.0, None, None, None)


def test_a_pad_with_a_window_of_its_own_folds_what_others_keep() -> None:
    """45 ms for the snare: its late bounce is folded, the same on another pad is an extra note."""
    plan = counted_plan(["1 2 3 4"])
    notes = make_notes([0, 40_000, 500_000, 540_000, 1_000_000, 1_500_000], [38, 38, 36, 36, 38, 36], [90, 30] * 3)
    played = Played(notes, plan.tempo, plan.metre, plan)

    usual = analyse(played, Options(delay_ms=0.0))
    own = analyse(played, Options(delay_ms=0.0, retrigger_of={38: 45.0}))

    assert (usual.counts.extra, own.counts.extra) == (2, 1)


def test_a_second_input_without_the_firsts_calibration_is_said(tmp_path: Path) -> None:
    """The first one's delay is taken away from all; the report says whose it is. A delay that is given is everybody's."""
    from heeltap.app.drill.settings import route_of_all
    from heeltap.files.calibrations import Calibrated, keep_calibration

    keep_calibration(
        Calibrated(
            in_port="fake:a",
            out_port="",
            method="microphone",
            delay_ms=9.0,
            uncertainty_ms=1.0,
            date="2026-01-02T10:00:00+00:00",
        )
    )
    both = Player(("fake:b",))

    route = route_of_all(Settings("fake:a", takes=tmp_path, player=both))

    assert route.delay_ms == 9.0
    assert route.note == "heeltap takes the delay of fake:a away; fake:b may have another"
    assert route_of_all(Settings("fake:a", takes=tmp_path, delay_ms=5.0, player=both)).note == ""
    assert route_of_all(Settings("fake:a", takes=tmp_path)).note == ""
