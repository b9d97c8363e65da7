"""A class and its set, as one value that page, text and table are renderings of.

Inside: `Classroom`.
"""

from dataclasses import dataclass

from heeltap.classroom.integrity import IntegrityQuestion
from heeltap.classroom.students import ClassItem, Next, Student, Weakness

__all__ = ["Classroom"]


@dataclass(frozen=True, slots=True, eq=False)
class Classroom:
    """A class and its set."""

    title: str
    """Of the set."""
    fingerprint: str
    items: tuple[ClassItem, ...]
    students: tuple[Student, ...]
    """By name."""
    weaknesses: tuple[tuple[Weakness, ...], ...]
    """One row a student."""
    nexts: tuple[Next, ...]
    questions: tuple[IntegrityQuestion, ...]
    problems: tuple[str, ...]
    """Files and takes that could not be used, a line each."""
    notes: tuple[str, ...]
    """What a reader should know besides."""
