"""Writes the approved report of the demo's first take: ``python -m tests.makers.report``. Read it aloud before you commit."""

from pathlib import Path

from heeltap import score_file
from heeltap.views.text import render

__all__ = ["TARGET", "report"]

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "tests" / "golden" / "report" / "tollgate-road-take-1.txt"


def report() -> str:
    """The report of the demo's first take."""
    demo = ROOT / "demo"
    result = score_file(demo / "tollgate-road-take-1.mid", part="keys", plan=demo / "tollgate-road.mid", delay_ms=0)
    return render(result)


if __name__ == "__main__":
    TARGET.write_text(report(), encoding="utf-8")
