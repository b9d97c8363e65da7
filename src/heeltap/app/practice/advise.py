"""What to play next, from your history and the shipped course.

Inside: `next_step`, `step_after`, `next_exercise`, `course`.
"""

import functools
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from heeltap.app.practice.make_exercise import families, make_exercise
from heeltap.app.practice.set_in_use import set_in_use
from heeltap.app.practice.set_standing import standing_of
from heeltap.app.practice.sets import open_set
from heeltap.app.takes.history import history
from heeltap.clock import wall_now
from heeltap.course import next_exercise as advise
from heeltap.course.difficulty import difficulty
from heeltap.course.level import Course, Step
from heeltap.course.next_exercise import NextStep
from heeltap.course.recipes import Grade
from heeltap.errors import HeeltapError
from heeltap.model.past_take import PastTake
from heeltap.model.plan_from import plan_of
from heeltap.model.result import Advice
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["course", "next_exercise", "next_step", "step_after"]

_REMEMBERED = 1_000
"""Takes that advice looks at: a year of practice at twenty minutes a week, and read in 10 ms."""


@functools.cache
def course() -> Course:
    """The shipped course as advice reads it: every grade with its tempo, its limit and its difficulty, in 4/4."""
    return {family.name: tuple(_step(family.name, grade) for grade in family.grades) for family in families()}


def _step(family: str, grade: Grade) -> Step:
    """One grade; tempo and limit hold for every seed that advice draws on."""
    made = [make_exercise(family, grade.name, seed=seed) for seed in range(1, advise.SEEDS + 1)]
    gaps = [np.diff(np.unique(plan_of(exercise).at_tick)).min(initial=4 * TICKS_PER_QUARTER) for exercise in made]
    return Step(
        family=family,
        grade=grade.name,
        title=made[0].title,
        tempo_bpm=min(exercise.tempo_bpm for exercise in made),
        fastest_bpm=float(int(60.0 * grade.most_per_s * float(min(gaps)) / TICKS_PER_QUARTER)),
        difficulty=difficulty(made[0]).total,
    )


def next_step(takes: Path | None = None, *, now: datetime | None = None) -> NextStep:
    """What to play next, by the history of a folder of takes.

    Parameters
    ----------
    takes : Path, optional
        The folder of all takes; the user's where not given.
    now : datetime, optional
        This moment; the clock's where not given.

    Raises
    ------
    StoreError
        As `heeltap.app.takes.history.history`.
    """
    return step_after(history(takes, last=_REMEMBERED).takes, wall_now() if now is None else now)


def step_after(past: Sequence[PastTake], now: datetime) -> NextStep:
    """The same after these takes, the earliest first; at most a year of them count."""
    past = past[-_REMEMBERED:]
    return advise.rest_due(past, now) or _set_step(past) or advise.next_step(past, course(), now)


def _set_step(past: Sequence[PastTake]) -> NextStep | None:
    """The first exercise of the set in use that is not done, at the first tempo that is not; None without such a set."""
    name = set_in_use()
    try:
        opened = open_set(name) if name else None
    except HeeltapError:  # the start screen says what is wrong with the set; advice goes on with the course
        return None
    if opened is None:
        return None
    for work in opened.works:
        standing = standing_of(opened, work, past)
        if not standing.done:
            have, item = len(standing.takes), f"{opened.called}:{work.number}"
            reason = f"it is the next of your set, and you have {have} of {work.item.takes} takes of it at this tempo"
            return NextStep(
                "set", reason, title=opened.titles[work.number - 1], tempo_bpm=standing.tempo_bpm, item=item
            )
    return None


def next_exercise(takes: Path | None = None, *, now: datetime | None = None) -> Advice:
    """The same as a row of a Result: its ``exercise`` is what `heeltap drill` takes, as typed."""
    return next_step(takes, now=now).advice()
