"""The takes of a sitting: the question before the report, the report of the last take, how far the player has read.

Inside: `AfterTake`, `report_of`.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from heeltap.app.drill.changes import tempo_of
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.run import DrillOutcome
from heeltap.app.drill.set_task import set_task
from heeltap.app.drill.where_kept import where_kept
from heeltap.app.practice.set_standing import counts_words
from heeltap.app.takes.self_assessment import guess_words, keep_guess
from heeltap.errors import HeeltapError
from heeltap.tui.screens.report import Report, played_words, report_lines
from heeltap.views.bar_sheet import Glyphs

__all__ = ["AfterTake", "report_of"]


def report_of(outcome: DrillOutcome, played: str, *, guess: str = "") -> Report:
    """The report of a take that was just played; ``played`` says what it was, ``guess`` what the player thought of it."""
    first = [guess] if guess else []
    if outcome.problem:
        first.append(f"heeltap could not keep the whole take: {outcome.problem}")
    if outcome.ending not in ("played", "stopped"):
        first.append(f"The take ended early: {outcome.ending}.")
    if outcome.folder is None:
        return Report(played, outcome.result, (*first, "You played nothing, so heeltap kept no take."))
    notice = [f"Note: {outcome.notice}"] if outcome.notice else []
    return Report(played, outcome.result, tuple(first), (where_kept(outcome), *notice))


def _counts(outcome: DrillOutcome, drill: Drill) -> str:
    """Whether the take counts for the set that asks for the drill; empty where none does."""
    folder = outcome.under_takes
    task = None if folder is None else set_task(drill, folder.parent)
    return "" if task is None or folder is None else counts_words(task, folder.name)


class AfterTake:
    """The takes of a sitting, and what of the last one is shown."""

    def __init__(self, glyphs: Glyphs, now: Callable[[], datetime], *, guess: bool) -> None:
        """``now`` is the date and time; with ``guess`` the screen asks "early, on, or late?" before the report."""
        self._glyphs, self._now, self._guess = glyphs, now, guess
        self.outcomes: list[DrillOutcome] = []
        """What became of every take."""
        self.first = 0
        """The line of the report at the top of the screen."""
        self.showing = False
        """Whether the report is shown, not the bars."""
        self.asking = False
        """Whether the question is shown, before the report."""
        self._report = Report("", None)
        self._lines: dict[tuple[int, int], list[str]] = {}

    def ended(self, outcome: DrillOutcome, drill: Drill) -> None:
        """Take up one more take, of this drill."""
        self.outcomes.append(outcome)
        now = self._now()
        played = played_words(drill.title, tempo_of(drill), now, now)
        self._show(replace(report_of(outcome, played), counts=_counts(outcome, drill)))
        self.first, self.showing = 0, True

    def ask(self) -> None:
        """Put the question, where it is wanted and there is something to judge."""
        self.asking = self._guess and self.outcomes[-1].result is not None

    def guessed(self, guess: str) -> str:
        """Keep what the player thought (empty for no guess) and show the report; returns why that failed, or nothing."""
        self.asking, outcome = False, self.outcomes[-1]
        folder = outcome.under_takes
        if not guess or folder is None or outcome.result is None:
            return ""
        first = report_of(outcome, self._report.played, guess=guess_words(guess, outcome.result)).first
        self._show(replace(self._report, first=first))
        try:
            keep_guess(folder, guess, outcome.result)
        except HeeltapError as error:
            return str(error)
        return ""

    @property
    def worst(self) -> tuple[int, int] | None:
        """The first and the last of the bars of the last take that stood out most; None where none did."""
        result = self._report.result
        return (result.replay[0].first_bar, result.replay[0].last_bar) if result is not None and result.replay else None

    @property
    def delay_unknown(self) -> bool:
        """Whether the last take was judged without knowing the delay of the gear."""
        result = self._report.result
        return result is not None and not result.calibration.known

    def turn_page(self) -> None:
        """Go from the report to the bars and back."""
        self.showing = bool(self.outcomes) and not self.showing

    def fit(self, width: int, room: int) -> Sequence[str]:
        """The lines of the report for a screen; `first` is moved to where a page of them begins or ends."""
        if (width, room) not in self._lines:
            self._lines = {(width, room): report_lines(self._report, width, room, self._glyphs)}
        lines = self._lines[width, room]
        last_page = (len(lines) - 1) // room * room
        self.first = max(0, min(self.first, last_page))
        return lines

    def _show(self, report: Report) -> None:
        self._report, self._lines = report, {}
