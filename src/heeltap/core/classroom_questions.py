"""What in a class's takes is worth a question: too even for a hand, or the same take handed in twice.

Neither is a verdict. A drum machine left running, a file copied to the wrong folder, or two people who practise at one
kit and mixed up their takes look the same as somebody who cheats.

Inside: `Question`, `questions`, `ALIKE_MS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from heeltap.core.classroom import ClassTake, Student

__all__ = ["ALIKE_MS", "Question", "questions"]

EVEN_MS = 1.0
"""Scatter below which no hand plays; the limit of the finding ``too-even``."""

ALIKE_MS = 1.0
"""Strokes of two takes that lie this close, once the takes' averages are taken away, are alike."""

_ALIKE_SHARE = 0.9
"""So many strokes alike make the takes one: of two takes that scatter by 5 ms each, 11 in 100 are. Ours."""

_ENOUGH = 32
"""Strokes below which nothing is asked, as with findings."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something to ask about."""

    kind: str
    """``even``, ``same`` (the same events), ``alike`` (the same strokes to within `ALIKE_MS`)."""
    who: tuple[int, ...]
    """Indices of students; one where both takes are one student's."""
    takes: tuple[ClassTake, ...]
    size: float
    """Scatter in ms for ``even``, share of strokes alike for the others."""


def questions(students: Sequence[Student]) -> tuple[Question, ...]:
    """What to ask, by student."""
    owned = [(who, take) for who, student in enumerate(students) for take in student.takes]
    even = {id(take): float(np.std(take.offset_ms)) for _, take in owned if _too_even(take)}
    found = [Question("even", (who,), (take,), even[id(take)]) for who, take in owned if id(take) in even]
    for item in sorted({take.item for _, take in owned}):
        here = [(who, take) for who, take in owned if take.item == item]
        for (who, take), (other, second) in combinations(here, 2):
            who_both = tuple(dict.fromkeys((who, other)))
            if take.events == second.events:
                found.append(Question("same", who_both, (take, second), 1.0))
            elif id(take) not in even and id(second) not in even and (share := _alike(take, second)) >= _ALIKE_SHARE:
                found.append(Question("alike", who_both, (take, second), share))
    return tuple(sorted(found, key=lambda question: question.who))


def _too_even(take: ClassTake) -> bool:
    return take.offset_ms.size >= _ENOUGH and float(np.std(take.offset_ms)) < EVEN_MS


def _alike(one: ClassTake, other: ClassTake) -> float:
    """Share of the common strokes that lie within `ALIKE_MS`; 0 where too few are common."""
    common, left, right = np.intersect1d(one.place, other.place, return_indices=True)
    if common.size < max(_ENOUGH, 0.5 * max(one.place.size, other.place.size)):
        return 0.0
    apart = one.offset_ms[left] - other.offset_ms[right]
    return float(np.mean(np.abs(apart - np.median(apart)) <= ALIKE_MS))
