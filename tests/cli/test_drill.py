"""``heeltap drill`` as a player meets it: plain lines, JSON, errors, Ctrl-C, and a real MIDI route."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.takes.load_scored_inputs import score_kept
from heeltap.cli import main
from heeltap.files.paths import takes_dir
from heeltap.files.settings import Stored, write_settings
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.folder import list_takes, load_take, open_take
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from tests.engine.jack_player import Player
from tests.engine.jack_server import Server, server_missing
from tests.files.test_takes import a_context
from tests.makers.drills import counted_plan

EXERCISE = """\
format = "heeltap.exercise/1"
name = "two-and-four"
title = "Two and four"
aim = "Land with the snare."
metre = "4/4"
tempo_bpm = 280.0
voices = [{ name = "any" }]

[[section]]
name = "verse"
bars = ["2 4", "2 4"]
"""

BEAT_US = round(60e6 / 280)


@pytest.fixture
def exercise(tmp_path: Path) -> Path:
    """An exercise of two short bars."""
    path = tmp_path / "two and four.toml"
    path.write_text(EXERCISE)
    return path


@pytest.fixture
def player(tmp_path: Path) -> str:
    """A scripted player of that exercise: 8 ms early, on, 20 ms late, missing."""
    at = [BEAT_US - 8_000, 3 * BEAT_US, 5 * BEAT_US + 20_000]
    path = tmp_path / "player.mid"
    write_midi(path, [TrackOut(make_notes(at, [60] * 3, duration_us=[50_000] * 3))], tempo=steady_tempo(280.0))
    return f"fake:{path}"


@pytest.mark.live
def test_plain_lines_a_bar_at_a_time(exercise: Path, player: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each bar is printed with its syllables and the signed milliseconds; then the result; then where the take is."""
    code = main(["drill", str(exercise), "--in", player, "--out", "none", "--no-screen"])

    out = capsys.readouterr().out
    rows = [line.split() for line in out.splitlines()]
    assert code == 0
    assert "Two and four · 280 bpm · 2 bars" in out.splitlines()[0]
    assert ["played", "-8", "0"] in rows
    assert ["played", "+20", "left", "out"] in rows
    assert out.index("played") < out.index("On average")
    assert str(list_takes(takes_dir())[0]) in out.splitlines()[-1]


@pytest.mark.live
def test_json_on_stdout_is_alone_there(exercise: Path, player: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With ``--json -`` everything else goes to stderr, and the JSON is the kept take's own result."""
    code = main(["drill", str(exercise), "--in", player, "--out", "none", "--json", "-", "--lean", "10"])

    shown = capsys.readouterr()
    result = json.loads(shown.out)
    again = score_kept(list_takes(takes_dir())[0])
    assert code == 0
    assert "played" in shown.err
    assert (result["format"], result["lean_ms"], result["counts"]["missed"]) == ("heeltap.result/2", 10.0, 1)
    assert [note["offset_ms"] for note in result["notes"]] == [note.offset_ms for note in again.notes]


@pytest.mark.live
def test_the_kept_sound_of_the_click_is_used(exercise: Path, player: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A sound in the settings that there is not is told and stops the drill; an option goes before it."""
    write_settings(Stored(click_notes="bell"))
    command = ["drill", str(exercise), "--in", player, "--out", "none", "--no-screen"]

    codes = main(command), main([*command, "--click-notes", "stick"])

    assert (5, 0) == codes
    assert "settings.toml: click notes: 'bell'; expected two keys" in capsys.readouterr().err


@pytest.mark.live
def test_a_take_left_behind_is_recovered_and_said(
    exercise: Path, player: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The next drill finishes what a kill left, before it begins."""
    left = open_take(takes_dir(), a_context(counted_plan(["1 2 3 4"])))
    left.journal.write_text('{"zero_ns":0}\n{"t":1.0,"bytes":[144,60,90],"dt":0.0}\n')
    left.lock.release()

    main(["drill", str(exercise), "--in", player, "--out", "none", "--no-screen"])

    assert "an earlier drill left a take behind" in capsys.readouterr().err
    assert len(list_takes(takes_dir())) == 2


def test_the_history_finishes_what_a_kill_left(capsys: pytest.CaptureFixture[str]) -> None:
    """Said once, then listed like any take; a take that is being played now stays as it is."""
    left, playing = (open_take(takes_dir(), a_context(counted_plan(["1 2 3 4"]))) for _ in range(2))
    for take in (left, playing):
        take.journal.write_text('{"zero_ns":0}\n{"t":1.0,"bytes":[144,60,90],"dt":0.0}\n')
    left.lock.release()

    assert 0 == main(["history"])
    said = capsys.readouterr().err
    assert 0 == main(["history"])

    assert "an earlier drill left a take behind; heeltap finished it" in said
    assert "left a take behind" not in capsys.readouterr().err
    assert 1 == len(list_takes(takes_dir()))
    assert playing.folder.exists()
    playing.lock.release()


@pytest.mark.live
@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["anchr 2"], 5, "nearest: anchor"),
        (["anchor 99"], 5, "grade 99"),
        (["anchor", "--tempo", "1000"], 5, "20 to 300"),
        (["anchor", "--click", "bakbeat"], 5, "nearest: backbeat"),
        (["missing.toml"], 3, "missing.toml"),
        (["missing.mid"], 3, "missing.mid"),
        (["?!"], 3, "not an exercise"),
        (["anchor", "--no-screen"], 4, "computer's keyboard"),
        (["anchor", "--in", "fake:missing.mid"], 3, "missing.mid"),
        (["anchor", "--feedback", "never"], 2, "invalid choice"),
        (["anchor", "--lean", "500"], 2, "-100..100"),
    ],
)
def test_what_is_wrong_is_one_line(
    arguments: list[str],
    code: int,
    words: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every mistake is one line on stderr, with its exit code, and leaves nothing behind."""
    monkeypatch.setattr(
        "heeltap.app.route.ports.list_ports", lambda: ([], [])
    )  # nothing is plugged in, wherever this runs
    with_port = arguments if "--in" in arguments or code == 4 else [*arguments, "--in", "keys"]

    got = main(["drill", *with_port])

    err = capsys.readouterr().err
    assert (got, err.count("\n")) == (code, 1)
    assert words in err
    assert list_takes(takes_dir()) == []


@pytest.mark.slow
def test_ctrl_c_keeps_the_take_and_says_130(tmp_path: Path) -> None:
    """Ctrl-C to the whole group, as a terminal sends it, in the middle of a long drill."""
    at = [round(i * 60e6 / 120) for i in range(40)]
    path = tmp_path / "player.mid"
    write_midi(path, [TrackOut(make_notes(at, [60] * 40))], tempo=steady_tempo(120.0))
    command = [sys.executable, "-m", "heeltap", "drill", "anchor 1", "--tempo", "120", "--in", f"fake:{path}"]
    with subprocess.Popen(
        [*command, "--out", "none", "--no-screen", "--feedback", "stroke"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as child:
        assert child.stdout is not None
        while "bar 2" not in child.stdout.readline():
            pass
        os.killpg(child.pid, signal.SIGINT)
        out, err = child.communicate(timeout=60)

    assert child.returncode == 130
    assert "ended early: interrupted" in out
    assert "Traceback" not in err
    assert len(list_takes(takes_dir())) == 1


@pytest.mark.jack
@pytest.mark.skipif(bool(server_missing()), reason=server_missing())
def test_notes_over_a_real_route(exercise: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Another process plays over a real MIDI port and hears the click: every note is kept, stamps agree but for one delay."""
    with Server(period=64) as server:
        for key, value in server.environment.items():
            monkeypatch.setenv(key, value)
        monkeypatch.setenv("HEELTAP_MIDI_API", "jack")
        player = Player(server.environment)
        wanted_ms = np.array([-8.0, 0.0, 20.0, 3.0])
        count_in_us, beats = 4 * BEAT_US, np.array([1, 3, 5, 7])
        at_us = count_in_us + beats * BEAT_US + wanted_ms * 1000
        player.play((at_us * 1000).astype(int).tolist(), [60] * 4, from_first_click=True)
        code = main(["drill", str(exercise), "--in", "robot:out", "--out", "robot-ear:in", "--no-screen"])
        sent, heard = player.finish()

    take = load_take(list_takes(takes_dir())[0])
    stamped_ms, left_ms = take.notes.onset_us / 1e3, np.array(sent) / 1e6
    assert code == 0
    assert len(take.notes) == len(sent) == 4
    assert len([data for _, data in heard if data[0] == 0x99 and data[2] > 0]) == 12
    assert np.ptp(stamped_ms - left_ms) < 8  # the player itself may be late on a busy machine; the bench measures
