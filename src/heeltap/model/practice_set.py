"""A practice set as data: what a teacher gives to a student or a group, in order, and what counts as done.

Inside: `PracticeSet`, `SetItem`, `Generated`, `FromFile`, `Done`, `meets`, `is_done`, `fingerprint`.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from heeltap.model.exercise import Exercise, Ladder, click_text
from heeltap.model.lean import Lean
from heeltap.model.plan import Plan

__all__ = [
    "Done",
    "FromFile",
    "Generated",
    "PracticeSet",
    "SetItem",
    "fingerprint",
    "is_done",
    "meets",
]


@dataclass(frozen=True, slots=True)
class Done:
    """When an exercise of a set counts as done."""

    in_pocket_percent: float | None = None
    """At least so many strokes in a hundred within the pocket; None asks for none."""
    spread_ms: float | None = None
    """At most so much spread; None sets no limit."""
    takes: int = 1
    """So many takes have to meet both."""


@dataclass(frozen=True, slots=True)
class Generated:
    """An exercise that is generated; the same everywhere."""

    family: str
    grade: str
    """Its name."""
    metre: str
    seed: int
    bars: int | None
    """None is the grade's own length."""


@dataclass(frozen=True, slots=True)
class FromFile:
    """An exercise file, or a part of a MIDI file, that comes with the set."""

    path: str
    """As the set writes it, relative to the set's folder."""
    part: str | None = None
    """Of a MIDI file with several."""


@dataclass(frozen=True, slots=True)
class SetItem:
    """One exercise of a set and how it is to be played."""

    source: Generated | FromFile
    exercise: Exercise | None
    """Complete, as the set asks for it, at its first tempo; None for a part of a MIDI file."""
    title: str = ""
    """The exercise's own where empty."""
    notes: tuple[str, ...] = ()
    """What the teacher has to say about it, line by line."""
    tempo_bpm: tuple[float, ...] = ()
    """Quarter notes a minute: one tempo, or steps to climb from take to take; empty is the exercise's own."""
    ladder: Ladder | None = None
    """A tempo that climbs within a take."""
    click: str | None = None
    """As `heeltap.model.exercise.parse_click` reads it; None is the exercise's own."""
    lean: Lean | None = None
    """Offset to aim at; None is the exercise's own."""
    pocket_ms: float | None = None
    """Half-width of the pocket; None is the exercise's own."""
    takes: int = 1
    """How many takes are asked for at each tempo."""
    done: Done = field(default_factory=Done)


@dataclass(frozen=True, slots=True)
class PracticeSet:
    """A set: a teacher's choice of exercises, in order."""

    name: str
    """Short: the file's name without its ending."""
    title: str
    audience: str
    """For whom."""
    notes: tuple[str, ...]
    items: tuple[SetItem, ...]
    folder: str = ""
    """Where its files are."""


def meets(done: Done, *, in_pocket: float | None, spread_ms: float | None) -> bool:
    """Whether one take meets the marks; what could not be measured does not meet them.

    Parameters
    ----------
    done : Done
        The marks.
    in_pocket : float or None
        Share of the strokes in the pocket, 0-1.
    spread_ms : float or None
        Milliseconds.

    Returns
    -------
    bool
    """
    pocket_met = done.in_pocket_percent is None or (in_pocket is not None and 100 * in_pocket >= done.in_pocket_percent)
    spread_met = done.spread_ms is None or (spread_ms is not None and spread_ms <= done.spread_ms)
    return pocket_met and spread_met


def is_done(done: Done, takes: Iterable[tuple[float | None, float | None]]) -> bool:
    """Whether enough takes meet the marks.

    Parameters
    ----------
    done : Done
        The marks, and how many takes must meet them.
    takes : iterable of (float or None, float or None)
        Share in the pocket, 0-1, and spread in ms of each take.

    Returns
    -------
    bool
    """
    return sum(meets(done, in_pocket=share, spread_ms=spread) for share, spread in takes) >= done.takes


def fingerprint(items: Sequence[SetItem], plans: Sequence[Plan]) -> str:
    """64 hexadecimal digits that two sets share when the same is played and judged in them in the same order.

    Titles, notes and file names do not count: a teacher may mend a word without making yesterday's takes another set's.

    Parameters
    ----------
    items : sequence of SetItem
    plans : sequence of Plan
        What the items ask for: an exercise at its first tempo, a MIDI part at its file's.

    Returns
    -------
    str

    Notes
    -----
    SHA-256 over the strokes (position, key, kind), metre and tempo of every plan and over click, tempo steps, lean,
    pocket, takes and marks of every item, as JSON with sorted keys. Ours.
    """
    rows = [_row(item, plan) for item, plan in zip(items, plans, strict=True)]
    text = json.dumps(["heeltap.set/1", rows], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _row(item: SetItem, plan: Plan) -> dict[str, object]:
    """What of an item is played and judged; what is said in the set stands in the exercise already."""
    exercise, done = item.exercise, item.done
    if exercise is None:
        lean = "as written" if item.lean is None else item.lean.written
        click, pocket = item.click, item.pocket_ms
    else:
        click, lean = click_text(exercise.click), exercise.pocket.lean.written
        pocket = exercise.pocket.half_width_ms
    strokes = np.stack([plan.at_tick, plan.pitch, plan.kind]).astype("<i8").tobytes()
    return {
        "strokes": hashlib.sha256(strokes).hexdigest(),
        "bars": plan.bars,
        "metre": [[float(at), str(metre)] for at, metre in zip(plan.metre.at_quarter, plan.metre.metres, strict=True)],
        "tempo": [plan.tempo.ticks_per_quarter, plan.tempo.at_tick.tolist(), plan.tempo.us_per_quarter.tolist()],
        "steps": list(item.tempo_bpm),
        "click": click,
        "lean": lean,
        "pocket": pocket,
        "takes": item.takes,
        "done": [done.in_pocket_percent, done.spread_ms, done.takes],
    }
