"""What stands on the start screen: the ports, what is due from the set in use, what to play next, the last week.

Inside: `Today`, `Due`, `Day`, `Wish`, `today`, `due_of`, `week_of`, `sets_in_reach`, `current_set`, `use_set`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from heeltap.app.practice.advise import course
from heeltap.app.practice.sets import OpenSet, Work, open_set, shipped_sets
from heeltap.app.takes.history import history
from heeltap.clock import wall_now
from heeltap.course import next_exercise as advise
from heeltap.course.next_exercise import NextStep
from heeltap.devices.protocols import list_ports
from heeltap.errors import HeeltapError, InputFileError
from heeltap.files.paths import home
from heeltap.model.past_take import PastTake
from heeltap.model.practice_set import is_done

__all__ = [
    "Day",
    "Due",
    "Today",
    "Wish",
    "current_set",
    "due_of",
    "real_ports",
    "sets_in_reach",
    "today",
    "use_set",
    "week_of",
]

_SAME_BPM = 0.5
"""Two tempi closer than this are one: files hold a tempo to a microsecond a beat."""

_DAYS = 7

_THROUGH = "midi through"
"""Linux' own loop from output to input: nobody plays it."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Something to be drilled, as `heeltap.app.drill.drill.drill_of` takes it."""

    what: str
    tempo_bpm: float | None = None
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Due:
    """One exercise of the set in use, at the first of its tempi that is not done."""

    number: int
    title: str
    tempo_bpm: float
    played: int
    """Takes at that tempo."""
    asked: int
    """Takes that are asked for at each tempo."""
    done: bool
    """Every tempo is done."""
    wish: Wish


@dataclass(frozen=True, slots=True)
class Day:
    """What was played on a day."""

    day: date
    takes: int
    minutes: float


@dataclass(frozen=True, slots=True)
class Today:
    """Everything that a player sees first."""

    now: datetime
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    port_problem: str = ""
    """Why there are no ports to speak of: no MIDI system; empty where it could be asked."""
    set_name: str = ""
    """What a person types for the set in use; empty for none."""
    set_title: str = ""
    set_problem: str = ""
    due: tuple[Due, ...] = ()
    """Every exercise of the set, in its order."""
    step: NextStep | None = None
    week: tuple[Day, ...] = ()
    """The last seven days, today the last."""
    last: PastTake | None = None
    warnings: tuple[str, ...] = ()


def today(takes: Path | None = None, *, now: datetime | None = None) -> Today:
    """What there is today.

    Never raises for a broken set, history or MIDI system: the line that needs it says so, and the rest stands.

    Parameters
    ----------
    takes : Path, optional
        The folder of all takes; the user's where not given.
    now : datetime, optional
        This moment; the clock's where not given.
    """
    moment = wall_now() if now is None else now
    inputs, outputs, port_problem = real_ports()
    past: tuple[PastTake, ...] = ()
    step: NextStep | None = None
    warnings: tuple[str, ...] = ()
    try:
        found = history(takes)
        past, warnings = found.takes, found.warnings
        step = advise.next_step(past[-1000:], course(), moment)
    except HeeltapError as error:
        warnings = (str(error),)
    name, title, problem = current_set(), "", ""
    due: tuple[Due, ...] = ()
    try:
        opened = open_set(name) if name else None
        if opened is not None:
            title, due = opened.set.title, due_of(opened, past)
    except HeeltapError as error:
        problem = str(error)
    return Today(
        moment,
        inputs,
        outputs,
        port_problem,
        name,
        title,
        problem,
        due,
        step,
        week_of(past, moment.date()),
        past[-1] if past else None,
        warnings,
    )


def real_ports() -> tuple[tuple[str, ...], tuple[str, ...], str]:
    """Stable names of the inputs and outputs that somebody may play, and why the system could not be asked, if so."""
    try:
        found = [[port.stable for port in ports if _THROUGH not in port.full.casefold()] for ports in list_ports()]
    except HeeltapError as error:
        return (), (), str(error)
    return tuple(found[0]), tuple(found[1]), ""


def due_of(opened: OpenSet, past: Sequence[PastTake]) -> tuple[Due, ...]:
    """Every exercise of a set, with what of it is played and done.

    A take counts for an exercise that has its name and seed, whether it was begun from the set or not.
    """
    return tuple(_due(opened.called, work, past) for work in opened.works)


def _due(called: str, work: Work, past: Sequence[PastTake]) -> Due:
    name = Path(work.path).stem if work.item.exercise is None else work.item.exercise.name
    mine = [take for take in past if take.exercise == name and take.seed == work.seed and take.ending == "played"]
    item, tempi = work.item, work.tempi_bpm
    at_tempo = {bpm: [take for take in mine if abs(take.tempo_bpm - bpm) < _SAME_BPM] for bpm in tempi}
    met = {
        bpm: len(rows) >= item.takes and is_done(item.done, ((take.in_pocket, take.spread_ms) for take in rows))
        for bpm, rows in at_tempo.items()
    }
    bpm = next((tempo for tempo in tempi if not met[tempo]), tempi[-1])
    wish = Wish(f"{called}:{work.number}", bpm)
    return Due(work.number, work.title, bpm, len(at_tempo[bpm]), item.takes, all(met.values()), wish)


def week_of(past: Sequence[PastTake], until: date) -> tuple[Day, ...]:
    """The seven days up to and with one; minutes are those of playing, count-ins left out."""
    days = [until - timedelta(days=back) for back in range(_DAYS - 1, -1, -1)]
    rows = {day: [take for take in past if take.date[:10] == day.isoformat()] for day in days}
    return tuple(Day(day, len(takes), sum(take.length_s for take in takes) / 60) for day, takes in rows.items())


def sets_in_reach() -> tuple[str, ...]:
    """The sets that ship, and the set files in the present folder, as a person types them."""
    here = sorted(str(path) for path in Path().glob("*.toml") if _calls_itself_set(path))
    return (*shipped_sets(), *here)


def _calls_itself_set(path: Path) -> bool:
    try:
        return "heeltap.set/" in path.read_text(encoding="utf-8-sig")[:20_000]
    except (OSError, UnicodeDecodeError):
        return False


def _set_note() -> Path:
    return home() / "current-set"


def current_set() -> str:
    """What a person typed for the set in use; empty for none."""
    try:
        return _set_note().read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def use_set(name: str) -> None:
    """Use a set from now on; an empty name uses none. Raises `InputFileError` where that cannot be kept."""
    kept = str(Path(name).resolve()) if name.endswith(".toml") else name
    try:
        _set_note().parent.mkdir(parents=True, exist_ok=True)
        _set_note().write_text(f"{kept}\n", encoding="utf-8")
    except OSError as error:
        raise InputFileError(str(_set_note()), f"cannot be written: {error.strerror or error}") from error
