"""What a player reads after a take: the question before the report, what the numbers say, the chart, the tables.

Inside: `AfterTake`, `result_lines`, `report_lines`.
"""

from heeltap.app.drill.run import DrillOutcome
from heeltap.app.takes.self_assessment import guess_words, keep_guess
from heeltap.errors import HeeltapError
from heeltap.model.result import Result
from heeltap.tui.screens.offset_chart import offset_chart
from heeltap.views.bar_sheet import Glyphs
from heeltap.views.text import WIDTH, render

__all__ = ["AfterTake", "report_lines", "result_lines"]


def result_lines(result: Result, glyphs: Glyphs) -> list[str]:
    """The report of a result: the sentences, the chart, then the tables, findings and bars to play again."""
    head, sentences, *rest = render(result).rstrip("\n").split("\n\n")
    chart = "\n".join(offset_chart(result, WIDTH, glyphs))
    return "\n\n".join(block for block in (head, sentences, chart, *rest) if block).split("\n")


def report_lines(outcome: DrillOutcome, glyphs: Glyphs, *, first: str = "") -> list[str]:
    """The report of a take that was just played; ``first`` is said before everything else."""
    lines = [first, ""] if first else []
    if outcome.problem:
        lines += [f"heeltap could not keep the whole take: {outcome.problem}", ""]
    if outcome.ending not in ("played", "stopped"):
        lines += [f"The take ended early: {outcome.ending}.", ""]
    if outcome.result is not None:
        lines += result_lines(outcome.result, glyphs)
    if outcome.folder is None:
        return [*lines, "You played nothing, so heeltap kept no take."]
    lines += ["", f"Your take is in {outcome.folder}"]
    return [*lines, f"Note: {outcome.notice}"] if outcome.notice else lines


class AfterTake:
    """The takes of a sitting, and what of the last one is shown."""

    def __init__(self, glyphs: Glyphs, *, guess: bool) -> None:
        """``guess``: "early, on, or late?" is asked before the report."""
        self._glyphs, self._guess = glyphs, guess
        self.outcomes: list[DrillOutcome] = []
        """What became of every take."""
        self.report = [""]
        """Lines of the last one's report."""
        self.first = 0
        """Which of them is the first on the screen."""
        self.showing = False
        """Whether the report is shown, not the bars."""
        self.asking = False
        """Whether the question is shown, before the report."""

    def ended(self, outcome: DrillOutcome) -> None:
        """One more take."""
        self.outcomes.append(outcome)
        self.report, self.first, self.showing = report_lines(outcome, self._glyphs), 0, True

    def ask(self) -> None:
        """Put the question, where it is wanted and there is something to judge."""
        self.asking = self._guess and self.outcomes[-1].result is not None

    def guessed(self, guess: str) -> str:
        """Keep what the player thought (empty for no guess) and show the report; why it could not be kept, or nothing."""
        self.asking, outcome = False, self.outcomes[-1]
        if not guess or outcome.folder is None or outcome.result is None:
            return ""
        self.report = report_lines(outcome, self._glyphs, first=guess_words(guess, outcome.result))
        try:
            keep_guess(outcome.folder, guess, outcome.result)
        except HeeltapError as error:
            return str(error)
        return ""

    def turn_page(self) -> None:
        """From the report to the bars and back."""
        self.showing = bool(self.outcomes) and not self.showing

    def fit(self, room: int) -> int:
        """The first line, so that no more is empty below than must be, on a screen with room for so many."""
        self.first = max(0, min(self.first, len(self.report) - room))
        return self.first
