"""The light matcher: it decides which planned stroke a note was at the moment when you play it.

It serves the screen only; the result comes from the full alignment afterwards. A note goes to the nearest stroke that
it may still be, the right key before a nearer wrong one; notes of a chord join; a pad's retrigger is folded; a stroke that
was given to a note far away goes to a much nearer one that follows; the rest is extra.

Inside: `Status`, `Struck`, `Stroke`, `RecentNotes`, `Assignment`, `assign_note`, `stroke_of`, `settle`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from heeltap.analysis.strokes import CHORD_WINDOW_US, RETRIGGER_US, WINDOW_US
from heeltap.session.plan_columns import Target

__all__ = ["Assignment", "RecentNotes", "Status", "Stroke", "Struck", "assign_note", "settle", "stroke_of"]


_OLDEST_US = 200_000
"""No pad's double-trigger window is wider."""

FAR_US = 120_000
"""If a note lies further than this from its stroke and the next one less than half as far, the stroke takes the next
one. Ours."""


class Status(StrEnum):
    """What became of a planned stroke."""

    WAITING = "waiting"
    PLAYED = "played"
    OTHER_KEY = "other key"
    MISSED = "missed"
    NO_INPUT = "no input"
    """The port was gone or the player paused: nobody counts it as missed."""


class Struck(NamedTuple):
    """A note as it was played, the known delay already taken away."""

    at_us: int
    pitch: int
    velocity: int
    port: int = 0
    """Index of the input."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A planned stroke as it stands."""

    status: Status = Status.WAITING
    notes: tuple[Struck, ...] = ()
    """In the order in which they came."""
    offset_us: int | None = None
    """Played (the median note) minus planned; negative is early."""

    @property
    def open(self) -> bool:
        """Whether no note has become this stroke yet."""
        return not self.notes


@dataclass(frozen=True, slots=True)
class RecentNotes:
    """The last notes, newest last, as far back as a retrigger can reach."""

    notes: tuple[Struck, ...] = ()

    def is_retrigger(self, note: Struck, window_us: int = RETRIGGER_US) -> bool:
        """Whether a note is a pad's double trigger: the same key, within the window after a louder hit."""
        return any(
            (old.pitch, old.port) == (note.pitch, note.port)
            and 0 <= note.at_us - old.at_us <= window_us
            and note.velocity < old.velocity
            for old in self.notes
        )

    def add(self, note: Struck) -> "RecentNotes":
        """With one more note, and without those that are too old to matter."""
        return RecentNotes((*(old for old in self.notes if note.at_us - old.at_us <= _OLDEST_US), note))


class Assignment(NamedTuple):
    """Where a note went."""

    target: int
    """Index of the stroke; -1 is an extra."""
    stroke: Stroke
    """The stroke as it stands now; meaningless for an extra."""
    displaced: tuple[Struck, ...] = ()
    """Notes that gave way; they are extra now."""


_EXTRA = Assignment(-1, Stroke())


def assign_note(
    targets: Sequence[Target], strokes: Sequence[Stroke], first: int, note: Struck, lean_us: int
) -> Assignment:
    """The stroke that a note is, or becomes part of; index -1 when it is an extra.

    Parameters
    ----------
    targets, strokes : equally long
        The plan, and how each of its strokes stands.
    first : int
        No stroke before this index can be reached any more.
    lean_us : int
        Offset aimed at: nearness is measured from there.
    """
    best: tuple[bool, int] | None = None
    found = _EXTRA
    for index in range(first, len(targets)):
        target, stroke = targets[index], strokes[index]
        if note.at_us < target.early_us:
            break
        far = abs(note.at_us - target.at_us - lean_us)
        yields = not stroke.open and _yields(stroke, far, lean_us)
        if note.at_us > target.late_us or not (stroke.open or yields or _joins(target, stroke, note)):
            continue
        rank = (not target.fits(note.pitch), far)
        if best is None or rank < best:
            best = rank
            kept = () if yields else stroke.notes
            found = Assignment(index, stroke_of(target, (*kept, note)), stroke.notes if yields else ())
    return found


def stroke_of(target: Target, notes: Sequence[Struck]) -> Stroke:
    """The stroke that these notes make; its time is their median, rounded down."""
    times = sorted(one.at_us for one in notes)
    right = any(target.fits(one.pitch) for one in notes)
    middle = (times[(len(times) - 1) // 2] + times[len(times) // 2]) // 2
    return Stroke(Status.PLAYED if right else Status.OTHER_KEY, tuple(notes), middle - target.at_us)


def settle(stroke: Stroke, *, heard: bool) -> Stroke:
    """The stroke once its time has passed: missed, or no input where nothing could be ``heard``."""
    if stroke.status is not Status.WAITING:
        return stroke
    return Stroke(Status.MISSED if heard else Status.NO_INPUT)


def _yields(stroke: Stroke, far_us: int, lean_us: int) -> bool:
    """Whether a stroke takes a note that is ``far_us`` away instead of the one that it has."""
    old_us = abs((stroke.offset_us or 0) - lean_us)
    return old_us > FAR_US and 2 * far_us < old_us


def _joins(target: Target, stroke: Stroke, note: Struck) -> bool:
    """Whether a note is a further note of a stroke that has begun."""
    chord = len(target.pitches) > 1
    if note.at_us - stroke.notes[0].at_us > (CHORD_WINDOW_US if chord else WINDOW_US):
        return False
    if any(old.pitch == note.pitch for old in stroke.notes):
        return False
    return target.fits(note.pitch)
