"""What a teacher wants to know of a class: who did what, what each needs next, and what is worth a question.

Conventions: offsets are played minus reference, ms, negative is early; shares are 0-1; None where there is no number.

How little is said untruly: each take's findings are made so that at most one list in twenty says something untrue. A
class of thirty hands in two hundred such lists, so a page that repeated them all would accuse somebody for nothing. A
finding is named here only when its adjusted p times the number of takes on the page is 5 % or less (Bonferroni's bound,
common practice): at most one page in twenty then says anything untrue of anybody.

Inside: `ClassItem`, `ClassTake`, `Student`, `Cell`, `Weakness`, `Next`, `same_work`, `cell_of`, `weaknesses`, `next_for`,
`differs`; the questions about takes are `heeltap.classroom.integrity`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.advice.remedies import Remedy, remedy_of
from heeltap.analysis.findings.catalogue import NOTHING
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.plan import Plan
from heeltap.model.practice_set import Done, is_done
from heeltap.model.result import Finding

__all__ = [
    "Cell",
    "ClassItem",
    "ClassTake",
    "Next",
    "Student",
    "TakeFigures",
    "Weakness",
    "cell_of",
    "differs",
    "next_for",
    "same_work",
    "weaknesses",
]

PAGE_ALPHA = 0.05
"""Chance that a page says anything untrue of anybody."""

MOST_MISSED = 0.25
"""Share of planned notes missed from which a take does not count towards what is done. Ours."""

SAME_BPM = 0.5
"""Tempi closer than this are one."""

_UNLIKE_MS = 0.5
"""Averages and spreads closer than this are the same figure: a take's plain MIDI file rounds by 0.02 ms, its words to
a whole one."""


@dataclass(frozen=True, slots=True)
class ClassItem:
    """One exercise of the set."""

    number: int
    """From 1."""
    title: str
    tempi_bpm: tuple[float, ...]
    """Quarter notes a minute, the steps that are asked for."""
    takes: int
    """Asked for at each tempo."""
    done: Done


@dataclass(frozen=True, slots=True)
class TakeFigures:
    """The figures of one take."""

    n: int
    """Strokes that they rest on."""
    bias_ms: float | None
    """Against the lean."""
    spread_ms: float | None
    in_pocket: float | None


@dataclass(frozen=True, slots=True, eq=False)
class ClassTake:
    """One take, scored again from its raw events."""

    item: int
    """Number of the exercise."""
    tempo_bpm: float
    """At its start."""
    date: str
    """When it was played, as the take says."""
    folder: str
    """What it is called on the student's machine."""
    figures: TakeFigures
    """Ours."""
    in_pocket: float | None
    """Share in the pocket, which lies around the take's own middle where the delay of the route is not known: a keyboard
    that speaks 40 ms late must not keep anybody from being done."""
    said: TakeFigures | None
    """The student's own; None where there are none."""
    why_unlike: str
    """What the student's judging had otherwise, in words; empty where it is not known."""
    whole: bool
    """Played to the end and no more than `MOST_MISSED` missed."""
    delay_known: bool
    findings: tuple[Finding, ...]
    position: IntArray
    """Position of each stroke in the plan, ticks."""
    offset_ms: FloatArray
    """One a stroke."""
    events: str
    """Hash of what was played, whatever the machine, port or hour."""


@dataclass(frozen=True, slots=True, eq=False)
class Student:
    """Everything that one name handed in."""

    name: str
    files: tuple[str, ...]
    takes: tuple[ClassTake, ...]
    """By date."""


@dataclass(frozen=True, slots=True)
class Cell:
    """How one student stands with one exercise."""

    takes: int
    """All that were handed in."""
    tempi_done: int
    tempi: int
    latest: TakeFigures | None
    """Of the last whole take; None where there is none."""
    at_bpm: float | None
    """Its tempo."""
    delay_known: bool = True

    @property
    def done(self) -> bool:
        """Every tempo is done.

        Returns
        -------
        bool
        """
        return self.tempi_done == self.tempi


@dataclass(frozen=True, slots=True)
class Weakness:
    """A finding that holds on this page."""

    code: str
    effect_ms: float
    """The strongest; negative is earlier, or less spread."""
    text: str
    """The sentence, as the player would read it."""
    item: int
    """Where it is strongest."""
    takes: int
    """How many takes say it."""


@dataclass(frozen=True, slots=True)
class Next:
    """What one student needs next."""

    action: str
    """``drill``, ``finish``, ``play`` or ``done``."""
    item: int | None
    """Exercise of the set, where it is one."""
    tempo_bpm: float | None
    exercise: str | None
    """What `heeltap drill` takes, where it is none of the set's."""
    why: str


def same_work(plan: Plan, asked: Plan) -> bool:
    """Whether two plans ask for the same strokes in the same bars, at any tempo; where the tempo changes, in proportion.

    Parameters
    ----------
    plan : Plan
        What a student played. Where its times do not follow from its own tempo and positions it asks for nothing that can be
        played: False.
    asked : Plan
        What the set asks for.

    Returns
    -------
    bool
    """
    if (len(plan), plan.bars, plan.metre.metres) != (len(asked), asked.bars, asked.metre.metres):
        return False
    columns = ("at_tick", "pitch", "kind")
    if any(not np.array_equal(getattr(plan, name), getattr(asked, name)) for name in columns):
        return False
    if not np.array_equal(plan.metre.at_quarter, asked.metre.at_quarter) or len(plan.tempo.at_tick) != len(
        asked.tempo.at_tick
    ):
        return False
    starts = [one.tempo.at_tick / one.tempo.ticks_per_quarter for one in (plan, asked)]
    factor = plan.tempo.us_per_quarter / asked.tempo.us_per_quarter
    steady = np.allclose(factor, factor[0], rtol=1e-3) and np.allclose(starts[0], starts[1], atol=1e-3)
    return bool(steady and _in_time(plan, asked))


def _in_time(plan: Plan, asked: Plan) -> bool:
    """Whether a plan's times are those of its tempo; 1 ms is let pass for rounding."""
    quarter = asked.tempo.quarter_at(asked.at_us)
    return bool(np.all(np.abs(plan.tempo.us_at_quarter(quarter) - plan.at_us) <= 1000))


def cell_of(student: Student, item: ClassItem) -> Cell:
    """How a student stands with an exercise.

    Parameters
    ----------
    student : Student
    item : ClassItem

    Returns
    -------
    Cell
    """
    takes = [take for take in student.takes if take.item == item.number]
    whole = [take for take in takes if take.whole]
    done = sum(_done_at(whole, item.done, tempo) for tempo in item.tempi_bpm)
    latest = whole[-1] if whole else None
    return Cell(
        len(takes),
        done,
        len(item.tempi_bpm),
        replace(latest.figures, in_pocket=latest.in_pocket) if latest else None,
        latest.tempo_bpm if latest else None,
        latest.delay_known if latest else True,
    )


def _done_at(whole: Iterable[ClassTake], done: Done, tempo_bpm: float) -> bool:
    here = (take for take in whole if abs(take.tempo_bpm - tempo_bpm) < SAME_BPM)
    return is_done(done, ((take.in_pocket, take.figures.spread_ms) for take in here))


def weaknesses(students: Sequence[Student]) -> tuple[tuple[Weakness, ...], ...]:
    """What can be said of each student, strongest first, so that the whole page holds (see the module's head).

    Parameters
    ----------
    students : sequence of Student

    Returns
    -------
    tuple of tuple of Weakness
        One row a student, in their order.
    """
    lists = sum(len(student.takes) for student in students)
    return tuple(_of_one(student, PAGE_ALPHA / max(lists, 1)) for student in students)


def _of_one(student: Student, alpha: float) -> tuple[Weakness, ...]:
    """The student's findings with a remedy whose p is small enough, one row a kind: the direction that is surest."""
    seen: dict[str, list[tuple[float, Finding, int]]] = {}
    for take in student.takes:
        for found in take.findings:
            p = found.p_adjusted
            if found.code != NOTHING and p is not None and remedy_of(found.code, found.effect_ms) is not None:
                seen.setdefault(found.code, []).append((p, found, take.item))
    rows = []
    for code, said in seen.items():
        least, found, item = min(said, key=lambda one: (one[0], -abs(one[1].effect_ms)))
        takes = sum((one.effect_ms < 0) == (found.effect_ms < 0) for _, one, _ in said)
        if least <= alpha:
            rows.append((least, Weakness(code, found.effect_ms, found.text, item, takes)))
    return tuple(row for _, row in sorted(rows, key=lambda one: one[0]))


def next_for(student: Student, items: Sequence[ClassItem], found: Sequence[Weakness]) -> Next:
    """One thing for one student: what stands out first, then what of the set is not done, easiest first.

    Parameters
    ----------
    student : Student
    items : sequence of ClassItem
        The set, in its order.
    found : sequence of Weakness
        The student's, strongest first.

    Returns
    -------
    Next
    """
    for weakness in found:
        remedy = remedy_of(weakness.code, weakness.effect_ms)
        if remedy is not None:
            return Next("drill", None, None, _drill(remedy, student, weakness.item), remedy.why)
    for item in items:
        takes = [take for take in student.takes if take.item == item.number]
        for tempo in item.tempi_bpm:
            if not _done_at((take for take in takes if take.whole), item.done, tempo):
                here = sum(abs(take.tempo_bpm - tempo) < SAME_BPM for take in takes)
                why = "not played yet" if not here else "not done yet"
                return Next("finish" if here else "play", item.number, tempo, None, why)
    return Next("done", None, None, None, "everything in the set is done, and nothing stands out")


def _drill(remedy: Remedy, student: Student, item: int) -> str:
    """What `heeltap drill` takes, at the tempo of the exercise that showed it where the grade goes so fast."""
    tempo = next((take.tempo_bpm for take in student.takes if take.item == item), 80.0)
    return f"{remedy.family} {remedy.grade} --tempo {min(max(round(tempo), 40), remedy.fastest_bpm):g}"


def differs(take: ClassTake) -> bool:
    """Whether the student's own figures are others than ours, beyond what rounding does.

    Parameters
    ----------
    take : ClassTake

    Returns
    -------
    bool
        False where the student's file says no figures.
    """
    said, ours = take.said, take.figures
    if said is None:
        return False
    if abs(said.n - ours.n) > 1:
        return True
    stroke = 1.5 / max(ours.n, 1)
    pairs = (
        (said.bias_ms, ours.bias_ms, _UNLIKE_MS),
        (said.spread_ms, ours.spread_ms, _UNLIKE_MS),
        (said.in_pocket, ours.in_pocket, stroke),
    )
    return any((a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > w) for a, b, w in pairs)
