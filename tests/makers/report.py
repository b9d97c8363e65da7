"""Writes the report of the demo's first take, its chart, and its excerpt in the README: ``python -m tests.makers.report``.

Read it aloud before you commit.
"""

from contextlib import chdir
from pathlib import Path

from heeltap import score_file
from heeltap.model.result import Result
from heeltap.views.charts import offset_chart
from heeltap.views.text import render

__all__ = ["CHART", "README", "TARGET", "demo_result", "excerpt", "report", "with_excerpt"]

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "tests" / "golden" / "report" / "tollgate-road-take-1.txt"
README = ROOT / "README.md"
CHART = ROOT / "docs" / "pictures" / "tollgate-road-take-1.svg"

_BEFORE, _AFTER = "against the part as written:\n\n", "```"

_LEFT_OUT = ("  by beat", "  by subdivision", "Next")
"""Blocks of the report that the README leaves out, by how they begin."""


def demo_result() -> Result:
    """What heeltap says of the demo's first take."""
    with chdir(ROOT):  # the report names the song's path as it was typed
        return score_file("demo/tollgate-road-take-1.mid", part="keys", plan="demo/tollgate-road.mid", delay_ms=0)


def report() -> str:
    """Its report as text."""
    return render(demo_result())


def excerpt() -> str:
    """What the README shows of it, without commands that name files of this checkout; "..." stands for blocks left out."""
    blocks: list[str] = []
    lines = [line for line in report().splitlines() if not line.startswith("    heeltap ")]
    for block in "\n".join(lines).split("\n\n"):
        if not block.startswith(_LEFT_OUT):
            blocks.append(block)
        elif blocks[-1] != "...":
            blocks.append("...")
    return "\n\n".join(blocks).replace("\n\n...\n\n", "\n...\n") + "\n"


def with_excerpt(text: str) -> str:
    """The README with the excerpt in its place."""
    before, after = text.split(_BEFORE)
    return before + _BEFORE + excerpt() + after[after.index(_AFTER) :]


if __name__ == "__main__":
    CHART.parent.mkdir(exist_ok=True)
    CHART.write_bytes(offset_chart(demo_result()))
    TARGET.write_text(report(), encoding="utf-8")
    README.write_text(with_excerpt(README.read_text(encoding="utf-8")), encoding="utf-8")
