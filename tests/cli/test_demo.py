"""The demo: the same files every time, and in real time the very lines that the README shows."""

import os
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

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
