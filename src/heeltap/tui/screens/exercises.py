"""The map of the exercises: every grade of every family, what the player has learned, what is due, what is still to come.

Inside: the model `CourseMap` with `MapGrade`, read by `read_map`; the drawing `draw_map`; the screen `ExercisesScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from heeltap.app.drill.from_settings import DrillChoice
from heeltap.app.practice.advise import course
from heeltap.app.practice.make_exercise import families
from heeltap.app.takes.history import history
from heeltap.course.level import CourseLevel, Step, level_of
from heeltap.course.next_exercise import next_step
from heeltap.model.past_take import PastTake
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, clip, first_shown, page, room_of, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.views.bar_sheet import Line, Span

__all__ = [
    "EXERCISES_HELP",
    "EXERCISES_KEYS",
    "CourseMap",
    "ExercisesScreen",
    "GradeState",
    "MapFamily",
    "MapGrade",
    "draw_map",
    "map_of",
    "read_map",
]

EXERCISES_KEYS = (
    Key("enter", "open", "see how the chosen exercise is played: metre, tempo, click or drums, lean, numbers"),
    Key("left", "", "the family before", "left"),
    Key("right", "other", "the family after", "right"),
    Key("g", "songs", "the songs of this folder, whole or by section, to their own drums"),
    MOVE,
    BACK,
    HELP,
    QUIT,
)

EXERCISES_HELP = (
    "Learned: it went well in two takes, and again on another day. Due today: it went well on an earlier day, and one take "
    "shows whether it is still there. Next: what your takes ask for.",
)

_NAME_COLUMNS, _TITLE_COLUMNS = 13, 30


class GradeState(StrEnum):
    """How far the player is with a grade."""

    LEARNED = "learned"
    DUE = "due today"
    NEXT = "next"
    TOMORROW = "again tomorrow"
    BEGUN = "begun"
    NOT_YET = "not yet"


@dataclass(frozen=True, slots=True)
class MapGrade:
    """One exercise of the map."""

    grade: str
    """Its name."""
    title: str
    aim: str
    state: GradeState
    tempo_bpm: float
    """Where the player is with it; the exercise's own tempo where it was not begun."""
    seed: int = 1


@dataclass(frozen=True, slots=True)
class MapFamily:
    """A family and its grades, in order."""

    name: str
    title: str
    grades: tuple[MapGrade, ...]

    @property
    def learned(self) -> int:
        """How many of its grades the player has learned."""
        return sum(grade.state is GradeState.LEARNED for grade in self.grades)


CourseMap = tuple[MapFamily, ...]
"""Every family, in the order in which they are learned."""


def read_map(takes: Path | None, now: datetime) -> CourseMap:
    """The map as the takes make it.

    Raises
    ------
    StoreError
        The history cannot be read.
    """
    return map_of(history(takes).takes, now)


def map_of(past: Sequence[PastTake], now: datetime) -> CourseMap:
    """The map of a player with these takes, oldest first."""
    following = next_step(past, course(), now)
    found = []
    for family in families():
        mine = [take for take in past if take.family == family.name]
        level, begun = level_of(course()[family.name], mine, now), {take.grade for take in mine}
        coming = following.grade if following.family == family.name else ""
        grades = []
        for rank, (recipe, step) in enumerate(zip(family.grades, course()[family.name], strict=True), 1):
            state = _state(level, rank, now, begun=step.grade in begun, coming=step.grade == coming)
            bpm, seed = _setting(level, rank, step)
            if state is GradeState.NEXT:
                bpm, seed = following.tempo_bpm, following.seed
            grades.append(MapGrade(step.grade, step.title, recipe.aim, state, bpm, seed))
        found.append(MapFamily(family.name, family.title, tuple(grades)))
    return tuple(found)


def _state(level: CourseLevel, rank: int, now: datetime, *, begun: bool, coming: bool) -> GradeState:
    """How far the player is with the grade of a rank."""
    standing = level.standing(rank, now)
    if coming and standing != "due":
        return GradeState.NEXT
    known = {"learned": GradeState.LEARNED, "due": GradeState.DUE, "passed": GradeState.TOMORROW}
    return known.get(standing, GradeState.BEGUN if begun else GradeState.NOT_YET)


def _setting(level: CourseLevel, rank: int, step: Step) -> tuple[float, int]:
    """The tempo and the seed at which a grade is taken up again."""
    if level.passed and level.passed.rank == rank:
        return level.passed.tempo_bpm, level.passed_seed or 1
    if level.takes and level.target.rank == rank:
        return level.target.tempo_bpm, 1
    return step.tempo_bpm, 1


def draw_map(found: CourseMap, family: int, chosen: int, look: Look, *, message: str = "") -> list[Line]:
    """The whole screen, exactly ``look.height`` lines.

    Parameters
    ----------
    found : CourseMap
    family : int
        The family that is shown, from 0.
    chosen : int
        The chosen grade of it, from 0.
    look : Look
    message : str
        Shown above the keys.
    """
    states = [grade.state for one in found for grade in one.grades]
    due = states.count(GradeState.DUE)
    where = f"{states.count(GradeState.LEARNED)} of {len(states)} learned" + (f", {due} due today" if due else "")
    grades = found[family].grades
    aim = wrapped_lines(grades[chosen].aim, look.width)
    room = max(1, room_of(look) - 3 - 1 - len(aim))
    first = first_shown(len(grades), room, chosen)
    rows = [_row(grade, at == chosen) for at, grade in enumerate(grades[first : first + room], first)]
    body = [*_families(found, family, look), [], *rows, *([] for _ in range(room - len(rows))), [], *aim]
    return page(look, "Exercises", where, body, EXERCISES_KEYS, message=message)


def _families(found: CourseMap, shown: int, look: Look) -> list[Line]:
    """The names of all families, and how many of its grades each has learned."""
    each = max(10, (look.width - 2) // max(1, len(found)))
    names: Line = [Span("  ")]
    learned: Line = [Span("  ")]
    for at, family in enumerate(found):
        name = clip(family.title.lower(), each - 2)
        names += [Span(name, "now" if at == shown else "head"), Span(" " * (each - len(name)))]
        done = clip(f"{family.learned} of {len(family.grades)} learned", each - 2)
        learned.append(Span(done.ljust(each), "dim"))
    return [names, learned]


def _row(grade: MapGrade, chosen: bool) -> Line:
    title = clip(grade.title, _TITLE_COLUMNS)
    text = f"{grade.grade:<{_NAME_COLUMNS}}  {title:<{_TITLE_COLUMNS}}  {grade.tempo_bpm:>3.0f} bpm"
    known = grade.state is not GradeState.NOT_YET
    role = "now" if chosen else "" if known else "dim"
    return [Span(f"> {text}" if chosen else f"  {text}", role), Span(f"   {grade.state}", "head" if known else "dim")]


class ExercisesScreen(QuietScreen):
    """Every exercise of the course, one family at a time."""

    name = "exercises"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._map: CourseMap = ()
        self._family = 0

    @property
    def keys(self) -> tuple[Key, ...]:
        """They never change."""
        return EXERCISES_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the words beside the exercises mean."""
        return EXERCISES_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Choose the exercise, show another family, or the songs."""
        return {
            "enter": self._take,
            "left": lambda: self._turn(-1),
            "right": lambda: self._turn(1),
            "g": lambda: self.host.go("songs"),
        }

    @property
    def count(self) -> int:
        """The grades of the family that is shown."""
        return len(self._map[self._family].grades) if self._map else 0

    def draw(self, look: Look, message: str) -> list[Line]:
        """The family that is shown; an empty page until the takes have been read."""
        if not self._map:
            return page(look, "Exercises", "", [], self.keys, message=message)
        return draw_map(self._map, self._family, self.at, look, message=message)

    def look_again(self) -> None:
        """Read every take."""
        self.host.work("exercises", lambda: read_map(self.host.takes, self.host.moment()))

    def take_in(self, work: str, found: object) -> None:
        """Show the map; the first time, with what comes next chosen."""
        if work != "exercises" or not isinstance(found, tuple):
            return
        first, self._map = not self._map, found
        if first:
            self._family, self.at = _following(self._map)

    def _turn(self, by: int) -> None:
        if self._map:
            self._family = (self._family + by) % len(self._map)
            self.at = min(self.at, self.count - 1)

    def _take(self) -> None:
        if self._map:
            family = self._map[self._family]
            grade = family.grades[self.at]
            self.host.choose(DrillChoice(f"{family.name} {grade.grade}", grade.tempo_bpm, grade.seed))


def _following(found: CourseMap) -> tuple[int, int]:
    """Where the map begins: the family and the grade, from 0, of what is due today, else of what comes next."""
    for state in (GradeState.DUE, GradeState.NEXT):
        for at, family in enumerate(found):
            for number, grade in enumerate(family.grades):
                if grade.state is state:
                    return at, number
    return 0, 0
