"""``heeltap drill --bars``, ``--loop``, ``--run-in`` and ``--count-in``, and songs of any resolution, in plain lines."""

import json
from pathlib import Path

import pytest

from heeltap.cli import main
from heeltap.files.paths import takes_dir
from heeltap.files.smf.write import TrackOut, write_midi
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from tests.makers.written_songs import COUNT, SONG_US, write_song


def player_of(path: Path, planned_us: list[int], late_ms: list[float]) -> str:
    """A scripted player who strikes each planned moment so many milliseconds late."""
    at = [us + round(1000 * late) for us, late in zip(planned_us, late_ms, strict=True)]
    write_midi(
        path, [TrackOut(make_notes(at, [60] * len(at), duration_us=[50_000] * len(at)))], tempo=steady_tempo(120)
    )
    return f"fake:{path}"


@pytest.mark.live
@pytest.mark.parametrize("ticks_per_quarter", [96, 480, 960, 10_080])
def test_a_song_of_any_resolution_is_drilled_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ticks_per_quarter: int
) -> None:
    """At 300 bpm, to be quick: every bar is printed while it is played, every stroke is matched, the take ends by itself."""
    song = write_song(tmp_path / "song.mid", ticks_per_quarter)
    player = player_of(
        tmp_path / "player.mid", [round(0.4 * us) for us in SONG_US], [5.0 * (k % 3) for k in range(COUNT)]
    )
    code = main(
        [
            "drill",
            str(song),
            "--part",
            "keys",
            "--in",
            player,
            "--out",
            "none",
            "--json",
            "-",
            "--tempo",
            "300",
            "--delay",
            "0",
        ]
    )

    shown = capsys.readouterr()
    result = json.loads(shown.out)
    assert code == 0
    assert [f"bar {number}" for number in range(1, 7)] == [
        line.strip()[:5] for line in shown.err.splitlines() if line.strip().startswith("bar ")
    ]
    assert (COUNT, 0, 0) == tuple(result["counts"][name] for name in ("planned", "missed", "extra"))
    assert all(abs(note["offset_ms"] - 5.0 * (k % 3)) < 1.0 for k, note in enumerate(result["notes"]))
    assert "ended early" not in shown.err


@pytest.mark.live
def test_a_loop_is_judged_pass_by_pass_and_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bars 4 and 5 three times, first on, then late, then early: the bars keep their names, each pass has its row
    and is a take of its own."""
    song = write_song(tmp_path / "song.mid", 480, drums=False)
    one = [us - 4_500_000 for us in SONG_US if 4_500_000 <= us < 7_900_000]
    planned = [us + turn * 3_400_000 for turn in range(3) for us in one]
    late = [ms for ms in (0.0, 35.0, -35.0) for _ in one]
    player = player_of(tmp_path / "player.mid", planned, late)
    options = ["--part", "keys", "--bars", "4-5", "--loop", "3", "--delay", "0", "--out", "none", "--json", "-"]
    code = main(["drill", str(song), "--in", player, *options])

    shown = capsys.readouterr()
    rows = json.loads(shown.out)["by_section"]
    assert code == 0
    assert "song.mid, keys, bars 4-5" in shown.err
    assert ["bar 4", "bar 5"] * 3 == [
        line.strip()[:5] for line in shown.err.splitlines() if line.strip().startswith("bar ")
    ]
    assert ["pass 1", "pass 2", "pass 3"] == [row["name"] for row in rows]
    assert [0.0, 35.0, -35.0] == [pytest.approx(row["bias_ms"], abs=2.0) for row in rows]
    takes = [load_take(folder) for folder in list_takes(takes_dir())]
    assert [("song-bars-4-5", len(one))] * 3 == [(take.context.name, len(take.notes)) for take in takes]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--bars", "5-9"], "bars: 5-9; expected bars from 1 to 6"),
        (["--bars", "x"], "bars: 'x'; expected a range such as 14-16"),
        (["--loop", "0"], "loop: 0 passes; expected 1 to 100"),
        (["--run-in"], "run-in: bar 1, which has no bar before it"),
        (["--count-in", "9"], "count-in: 9 bars; expected 1 to 8"),
        (["--bars", "2-3", "--run-in", "--follow-clock"], "--follow-clock: with --run-in; expected without"),
    ],
)
def test_what_cannot_be_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    """Nothing begins; the line names the option and what it takes."""
    song = write_song(tmp_path / "song.mid", 480)
    code = main(["drill", str(song), "--part", "keys", "--in", "fake:x", "--no-screen", *options])

    assert code in (2, 5)
    assert said in capsys.readouterr().err
