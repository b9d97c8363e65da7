"""What a player reads after a take, as lines: what the numbers say, the chart, the tables, what to do next.

Inside: `result_lines`, `report_lines`.
"""

from heeltap.core.result import Result
from heeltap.jobs.drill_text import Marks
from heeltap.jobs.drilling import DrillOutcome
from heeltap.report.text import WIDTH, render
from heeltap.tui.chart import offset_chart

__all__ = ["report_lines", "result_lines"]


def result_lines(result: Result, marks: Marks) -> list[str]:
    """The report of a result: the sentences, the chart, then the tables, findings and bars to play again."""
    head, sentences, *rest = render(result).rstrip("\n").split("\n\n")
    chart = "\n".join(offset_chart(result, WIDTH, marks))
    return "\n\n".join(block for block in (head, sentences, chart, *rest) if block).split("\n")


def report_lines(outcome: DrillOutcome, marks: Marks, *, first: str = "") -> list[str]:
    """The report of a take that was just played; ``first`` is said before everything else."""
    lines = [first, ""] if first else []
    if outcome.problem:
        lines += [f"The take could not be kept whole: {outcome.problem}", ""]
    if outcome.ending not in ("played", "stopped"):
        lines += [f"The take ended early: {outcome.ending}.", ""]
    if outcome.result is not None:
        lines += result_lines(outcome.result, marks)
    if outcome.folder is None:
        return [*lines, "Nothing was played; no take was kept."]
    lines += ["", f"The take is kept in {outcome.folder}"]
    return [*lines, f"Note: {outcome.notice}"] if outcome.notice else lines
