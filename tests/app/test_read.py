"""From files to what can be scored: the take's own clock, its plan and its leader."""

import shutil
from pathlib import Path

import numpy as np
import pytest

import heeltap
from heeltap.app.drill.demo import demo_drill
from heeltap.app.drill.run import drill
from heeltap.app.score.read import read_take
from heeltap.app.score.reading import Reading
from heeltap.errors import InputFileError
from heeltap.files.smf import TrackOut, write_midi
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from heeltap.views.text import render

DEMO = Path(__file__).resolve().parents[2] / "demo"
SONG = DEMO / "tollgate-road.mid"


@pytest.mark.slow
def test_a_take_file_alone_is_on_the_plans_clock(tmp_path: Path) -> None:
    """The `.mid` of a drill begins with the count-in; taken out of its folder it scores as it did inside."""
    what, settings = demo_drill()
    outcome = drill(what, settings, lambda state, effects: None)
    assert outcome.folder is not None
    assert outcome.result is not None
    alone = tmp_path / "alone.mid"
    shutil.copy(outcome.folder / "take.mid", alone)

    again = heeltap.score_file(alone, plan=DEMO / "warm-up.toml", lean_ms=None, delay_ms=0)

    assert outcome.result.counts == again.counts
    assert outcome.result.overall.bias_ms == pytest.approx(again.overall.bias_ms, abs=0.01)


def test_drums_are_found_as_the_leader() -> None:
    """The drum part leads whatever it is called; all of it is read, so that its grid is found."""
    take = read_take(SONG, Reading(part="keys", leader="drums"))

    assert "drums" == take.leader_name
    assert take.leader is not None
    assert {36, 38, 42} == set(take.leader.pitch.tolist())


def test_a_part_without_kick_and_snare_cannot_lead() -> None:
    """The message names the part and lists the others."""
    with pytest.raises(InputFileError, match=r"no kick or snare in 'keys'.*drums"):
        read_take(SONG, Reading(part="keys", leader="keys"))


def test_the_leader_is_named_as_the_reference() -> None:
    """A result against the drums says so, and the drums' own wander is no longer the player's."""
    against_drums = heeltap.score_file(SONG, part="keys", leader="drums")

    assert "leader" == against_drums.reference.kind
    assert "drums" in against_drums.reference.name


def test_sections_can_be_named_on_the_spot() -> None:
    """What the user names replaces the markers of the file."""
    take = read_take(SONG, Reading(part="keys", sections="first:1 second:21"))

    assert ["first", "second"] == [section.name for section in take.sections]


def test_a_take_on_another_click_is_an_answer_not_a_score(tmp_path: Path) -> None:
    """Strokes at random against the click: the result says so, and claims nothing about the playing."""
    at = np.sort(np.random.default_rng(4).integers(0, 60_000_000, 200))
    path = tmp_path / "elsewhere.mid"
    write_midi(path, [TrackOut(make_notes(at, np.full(200, 60)))], tempo=steady_tempo(120))

    result = heeltap.score_file(path)

    assert not result.on_grid
    assert (None, (), ()) == (result.overall.score, result.findings, result.replay)
    assert "does not follow this click" in render(result)
