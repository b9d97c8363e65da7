"""What in a class's takes is worth a question: too even for a hand, or the same take handed in twice.

Neither is a verdict. A drum machine left running, a file copied to the wrong folder, or two people who practise at one
kit and mixed up their takes look the same as somebody who cheats.

Inside: `IntegrityQuestion`, `questions`, `ALIKE_MS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from heeltap.classroom.students import ClassTake, Student

__all__ = ["ALIKE_MS", "IntegrityQuestion", "questions"]

EVEN_MS = 1.0
"""Spread below which no hand plays; the limit of the finding ``too-even``."""

ALIKE_MS = 1.0
"""Strokes of two takes that lie this close, once the takes' averages are taken away, are alike."""

_ALIKE_SHARE = 0.9
"""So many strokes alike make the takes one: of two takes with a spread of 5 ms each, 11 in 100 are. Ours."""

_ENOUGH = 32
"""Strokes below which nothing is asked, as with findings."""


@dataclass(frozen=True, slots=True)
class IntegrityQuestion:
    """Something to ask about."""

    kind: str
    """``even``, ``same`` (the same events), ``alike`` (the same strokes to within `ALIKE_MS`)."""
    who: tuple[int, ...]
    """Indices of students; one where all takes are one student's."""
    takes: tuple[ClassTake, ...]
    size: float
    """Spread in ms for ``even``, the least share of strokes alike for the others."""


def questions(students: Sequence[Student]) -> tuple[IntegrityQuestion, ...]:
    """What to ask about, by student; takes of the same people are one question.

    Parameters
    ----------
    students : sequence of Student

    Returns
    -------
    tuple of IntegrityQuestion
        In the order of the students.
    """
    owned = [(who, take) for who, student in enumerate(students) for take in student.takes]
    even = {id(take): float(np.std(take.offset_ms)) for _, take in owned if _too_even(take)}
    found = [IntegrityQuestion("even", (who,), (take,), even[id(take)]) for who, take in owned if id(take) in even]
    one_of_each, same = _same(owned)
    humans = [(who, take) for who, take in one_of_each if id(take) not in even]
    return tuple(sorted([*found, *same, *_alikes(humans)], key=lambda question: question.who))


Owned = tuple[int, ClassTake]
"""Index of the student, and a take of theirs."""


def _same(owned: Sequence[Owned]) -> tuple[list[Owned], list[IntegrityQuestion]]:
    """One take of each set of events, and a question for each group of people who share some."""
    by_events: dict[str, list[Owned]] = {}
    for who, take in owned:
        by_events.setdefault(take.events, []).append((who, take))
    groups: dict[tuple[int, ...], list[ClassTake]] = {}
    for rows in by_events.values():
        if len(rows) > 1:
            groups.setdefault(tuple(dict.fromkeys(who for who, _ in rows)), []).extend(take for _, take in rows)
    found = [IntegrityQuestion("same", who, tuple(takes), 1.0) for who, takes in groups.items()]
    return [rows[0] for rows in by_events.values()], found


def _alikes(owned: Sequence[Owned]) -> list[IntegrityQuestion]:
    """A question for each two people, or one, whose takes of one exercise agree stroke by stroke."""
    groups: dict[tuple[int, ...], list[tuple[float, ClassTake, ClassTake]]] = {}
    for (who, take), (other, second) in combinations(owned, 2):
        if take.item == second.item and (share := _alike(take, second)) >= _ALIKE_SHARE:
            groups.setdefault(tuple(dict.fromkeys((who, other))), []).append((share, take, second))
    found = []
    for people, rows in groups.items():
        takes = {id(take): take for _, *pair in rows for take in pair}
        found.append(IntegrityQuestion("alike", people, tuple(takes.values()), min(share for share, *_ in rows)))
    return found


def _too_even(take: ClassTake) -> bool:
    return take.offset_ms.size >= _ENOUGH and float(np.std(take.offset_ms)) < EVEN_MS


def _alike(one: ClassTake, other: ClassTake) -> float:
    """Share of the common strokes that lie within `ALIKE_MS`; 0 where too few are common."""
    if np.array_equal(one.position, other.position):
        common = left = right = np.arange(one.position.size)
    else:
        common, left, right = np.intersect1d(one.position, other.position, return_indices=True)
    if common.size < max(_ENOUGH, 0.5 * max(one.position.size, other.position.size)):
        return 0.0
    apart = one.offset_ms[left] - other.offset_ms[right]
    return float(np.mean(np.abs(apart - np.median(apart)) <= ALIKE_MS))
