"""Counting what an aligner got right over many takes.

Inside: `Tally` (`Tally.add`, rates as properties).
"""

from dataclasses import dataclass, field

import numpy as np

from heeltap.analysis.align import Match
from tests.makers.players import SimulatedTake

__all__ = ["Tally"]


def _f1(right: int, given: int, there: int) -> float:
    return 2 * right / max(given + there, 1)


@dataclass(slots=True)
class Tally:
    """Sums over takes."""

    pairs: list[int] = field(default_factory=lambda: [0, 0, 0])
    """Right, given, there."""
    wrong: list[int] = field(default_factory=lambda: [0, 0, 0])
    """The same for notes on wrong keys."""
    extra: list[int] = field(default_factory=lambda: [0, 0, 0])
    """The same for unplanned notes."""
    false_misses: int = 0
    """Planned notes that were played and called missed."""
    sure: int = 0
    """Matches given a confidence of 0.99 or more."""
    sure_right: int = 0
    """Those of them that are right."""
    worst: float = 1.0
    """Least F1 of the pairs of one take."""
    offsets_exact: bool = True
    """Every right match gives the true offset to the microsecond."""

    def add(self, take: SimulatedTake, found: Match, plan_us: np.ndarray) -> float:
        """Count one take; returns its F1."""
        truth, match = take.match, found.match
        hit = (truth >= 0) & (truth == match)
        one = (int(hit.sum()), int((match >= 0).sum()), int((truth >= 0).sum()))
        f1 = _f1(*one)
        self._sum(self.pairs, *one)
        self._sum(
            self.wrong,
            int((hit & take.wrong & found.wrong_pitch).sum()),
            int(found.wrong_pitch.sum()),
            int(take.wrong.sum()),
        )
        self._sum(self.extra, int(np.isin(take.extra, found.extra).sum()), found.extra.size, take.extra.size)
        self.false_misses += int(((truth >= 0) & (match < 0)).sum())
        high = (match >= 0) & (found.confidence >= 0.99)
        self.sure += int(high.sum())
        self.sure_right += int((high & hit).sum())
        self.worst = min(self.worst, f1)
        played = take.notes.onset_us[match[hit]] - plan_us[hit] - round(1000 * take.delay_ms)
        self.offsets_exact &= bool(np.array_equal(played, take.offset_us[hit]))
        return f1

    @staticmethod
    def _sum(total: list[int], *more: int) -> None:
        for place, value in enumerate(more):
            total[place] += value

    @property
    def f1(self) -> float:
        """F1 of the pairs."""
        return _f1(*self.pairs)

    @property
    def wrong_f1(self) -> float:
        """F1 of the notes on wrong keys."""
        return _f1(*self.wrong)

    @property
    def extra_f1(self) -> float:
        """F1 of the unplanned notes."""
        return _f1(*self.extra)

    @property
    def false_miss_rate(self) -> float:
        """Share of the played notes that were called missed."""
        return self.false_misses / max(self.pairs[2], 1)

    @property
    def sure_rate(self) -> float:
        """Share of the matches given 0.99 or more that are right."""
        return self.sure_right / max(self.sure, 1)

    def __str__(self) -> str:
        return (
            f"F1 {self.f1:.4f}  false misses {100 * self.false_miss_rate:.2f} %  wrong keys {self.wrong_f1:.3f}  "
            f"extras {self.extra_f1:.3f}  sure {100 * self.sure / max(self.pairs[1], 1):.0f} % of them right "
            f"{100 * self.sure_rate:.2f} %  worst take {self.worst:.3f}"
        )
