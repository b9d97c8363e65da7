"""The demo: the same files every time, and in real time the very lines that the README shows."""

import os
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

from heeltap.app.drill.demo import demo_song

ROOT = Path(__file__).resolve().parents[2]


def test_the_demo_files_are_what_their_script_makes(tmp_path: Path) -> None:
    """A stale file, or a script whose random stream changed, fails here."""
    runpy.run_path(str(ROOT / "demo" / "make_demo.py"))["main"](tmp_path)

    made = sorted(path.name for path in tmp_path.glob("*.mid"))
    assert sorted(path.name for path in (ROOT / "demo").glob("*.mid")) == made
    assert [] == [name for name in made if (tmp_path / name).read_bytes() != (ROOT / "demo" / name).read_bytes()]


@pytest.mark.slow
def test_the_demo_drills_in_real_time_and_prints_what_the_readme_shows() -> None:
    """Twelve seconds of drill by the simulated player, then the song: every line that the README shows of it is printed."""
    run = subprocess.run(
        [sys.executable, "-m", "heeltap", "demo", "--no-screen"],
        capture_output=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONUTF8": "1"},
        check=True,
    )

    shown = (ROOT / "README.md").read_text(encoding="utf-8").split("is scored:\n\n```\n")[1].split("```")[0]
    printed = run.stdout.splitlines()
    assert [] == [line for line in shown.splitlines() if line not in ("", "...") and line.rstrip() not in printed]


def test_the_answer_on_the_demos_song_names_what_was_planted() -> None:
    """The best takes are 6 and 7; takes 1 to 5 run into both choruses and no later take does; take 1 has an early two and four;
    take 8 is the loosest of the last three."""
    found = demo_song()

    assert ([f"tollgate-road-take-{number}" for number in range(1, 9)], ()) == (list(found.names), found.problems)
    whole = found.compared.comparison.whole if found.compared is not None else None
    rows = found.compared.comparison.takes if found.compared is not None else ()

    assert whole is not None
    assert {5, 6} == {whole.best, *whole.as_good}
    assert [("going into chorus", 5, True), ("going into chorus 2", 5, True)] == [
        (one.where, one.habit.of_one_mind, one.habit.given_up) for one in found.bars
    ]
    assert all(-36 < one.habit.mean_ms < -15 for one in found.bars)
    assert "backbeat" in [row.code for row in found.results[0].findings]
    assert all("backbeat" not in [row.code for row in result.findings] for result in found.results[1:])
    assert 7 == max(range(5, 8), key=lambda take: rows[take].spread_ms or 0.0)
    assert all("loudness" not in [row.code for row in result.findings] for result in found.results)
