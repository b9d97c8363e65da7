"""One take out of several: for each stretch of the song the one that lies best, joined where nothing is held.

Inside: `Comp`, `CompPiece`, `make_comp`, `comp_midi`, `comp_csv`, `MOST_JOINS`.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from heeltap.analysis.compare.best_path import best_path
from heeltap.app.score.reading import bar_us
from heeltap.app.song.answer import Answer
from heeltap.app.song.open_song import OpenSong
from heeltap.app.song.takes import SongTake
from heeltap.errors import InputFileError
from heeltap.files.smf import TrackOut, midi_bytes
from heeltap.model.notes import Notes
from heeltap.write import MADE_BY

__all__ = ["MOST_JOINS", "Comp", "CompPiece", "comp_csv", "comp_midi", "make_comp"]

MOST_JOINS = 6
"""Changes from one take to another, unless somebody asks for more or fewer. Ours."""

_EARLY_US = 100_000
"""A stroke of a bar may be played so much before its bar line. Ours; half of it where the strokes are closer."""


@dataclass(frozen=True, slots=True)
class CompPiece:
    """A stretch of the comp that is of one take."""

    first_bar: int
    last_bar: int
    take: int
    """Index of the take."""
    held: int
    """Notes of the take before that still sound where this piece begins."""


@dataclass(frozen=True, slots=True, eq=False)
class Comp:
    """Which take where, and the notes."""

    pieces: tuple[CompPiece, ...]
    notes: Notes
    """As they were played, on the song's clock."""


def make_comp(opened: OpenSong, takes: Sequence[SongTake], found: Answer, joins: int = MOST_JOINS) -> Comp:
    """The best stretches of several takes, put together.

    Parameters
    ----------
    opened : OpenSong
    takes : sequence of SongTake
        Those of the answer.
    found : Answer
        On two or more takes.
    joins : int
        At most so many changes of take. Where more would be better, those that gain least are left out.

    Returns
    -------
    Comp

    Raises
    ------
    InputFileError
        The takes hold nothing that could be compared.
    """
    compared = found.compared
    sections = [(one.first_bar, one.last_bar) for one in compared.comparison.sections] if compared else []
    bars = sections or [(1, opened.bars)]
    bars = [(1, bars[0][1]), *bars[1:]]
    bars[-1] = (bars[-1][0], max(opened.bars, bars[-1][1]))
    lean_ms = compared.aim.lean_ms if compared is not None and compared.delay_known else None
    pocket_ms = compared.aim.pocket_ms if compared is not None else None
    path = best_path(found.judged, bars, joins, lean_ms=lean_ms, pocket_ms=pocket_ms)
    if not path:
        raise InputFileError(opened.song.title, "takes without a stroke to compare", "two takes of the song's part")
    merged = [(*bars[0], path[0])]
    for (first, last), take in zip(bars[1:], path[1:], strict=True):
        if take == merged[-1][2]:
            merged[-1] = (merged[-1][0], last, take)
        else:
            merged.append((first, last, take))
    return _joined(opened, takes, merged)


def _joined(opened: OpenSong, takes: Sequence[SongTake], stretches: Sequence[tuple[int, int, int]]) -> Comp:
    """The notes of each stretch, joined at the bar line near its beginning at which least is held."""
    starts = [1]
    for (first, last, take), (after, until, following) in pairwise(stretches):
        starts.append(_quietest(opened, takes[take], takes[following], after, (max(first, starts[-1]) + 1, until)))
        del last
    pieces, columns = [], []
    for number, (_, last, take) in enumerate(stretches):
        first = starts[number]
        last = starts[number + 1] - 1 if number + 1 < len(starts) else last
        notes = _within(opened, takes[take], first, None if number + 1 == len(starts) else last + 1)
        held = 0 if number == 0 else _held(opened, takes[stretches[number - 1][2]], first)
        pieces.append(CompPiece(first, last, take, held))
        columns.append(notes)
    return Comp(tuple(pieces), _together(columns))


def _quietest(opened: OpenSong, before: SongTake, after: SongTake, bar: int, allowed: tuple[int, int]) -> int:
    """The bar line within a bar of the change across which fewest notes are held; the change itself where it is as quiet."""
    lines = [one for one in (bar, bar - 1, bar + 1) if allowed[0] <= one <= allowed[1]] or [bar]
    return min(lines, key=lambda one: (_held(opened, before, one) + _held(opened, after, one), lines.index(one)))


def _held(opened: OpenSong, take: SongTake, bar: int) -> int:
    """Notes of a take that sound across the beginning of a bar."""
    notes, at = take.ready.played.notes, _cut_us(opened, take, bar)
    ends = notes.onset_us + np.maximum(notes.duration_us, 0)
    return int(np.sum((notes.onset_us < at) & (ends > at + _EARLY_US)))


def _cut_us(opened: OpenSong, take: SongTake, bar: int) -> int:
    """Where the strokes of a bar begin in a take: in the gap before the first one that is meant for it."""
    line = bar_us(opened.timeline, bar)
    onset = take.ready.played.notes.onset_us
    near = onset[np.abs(onset - line) <= _EARLY_US]
    if near.size == 0 or near.min() >= line:
        return line - 1_000
    before = onset[onset < near.min()]
    return int(near.min() - min(_EARLY_US, (near.min() - before.max()) // 2 if before.size else _EARLY_US))


def _within(opened: OpenSong, take: SongTake, first: int, end: int | None) -> Notes:
    """The notes of a take from one bar to before another."""
    onset = take.ready.played.notes.onset_us
    rows = onset >= (_cut_us(opened, take, first) if first > 1 else np.iinfo(np.int64).min)
    if end is not None:
        rows &= onset < _cut_us(opened, take, end)
    return take.ready.played.notes.pick(rows)


def _together(pieces: Sequence[Notes]) -> Notes:
    """The notes of all pieces by time."""
    names = ("onset_us", "pitch", "velocity", "channel", "track", "duration_us")
    columns = {name: np.concatenate([getattr(one, name) for one in pieces]) for name in names}
    order = np.argsort(columns["onset_us"], kind="stable")
    return Notes(**{name: column[order] for name, column in columns.items()})


def comp_midi(opened: OpenSong, comp: Comp) -> bytes:
    """The comp as a MIDI file in the song's tempo and metre, its sections as markers.

    Parameters
    ----------
    opened : OpenSong
    comp : Comp

    Returns
    -------
    bytes
    """
    early_us = min(int(comp.notes.onset_us.min(initial=0)), 0)
    notes = replace(comp.notes, onset_us=np.maximum(comp.notes.onset_us, 0)) if early_us else comp.notes
    markers = [(bar_us(opened.timeline, one.first_bar), one.name) for one in opened.timeline.sections]
    return midi_bytes(
        [TrackOut(notes, name=opened.song.part)],
        tempo=opened.timeline.tempo,
        metre=opened.timeline.metre,
        markers=markers,
        name=f"{opened.song.title}, comp",
        text=MADE_BY,
    )


def comp_csv(comp: Comp, takes: Sequence[SongTake]) -> bytes:
    """What came from where: a row a piece.

    Parameters
    ----------
    comp : Comp
    takes : sequence of SongTake
        As they were put together.

    Returns
    -------
    bytes
        UTF-8, with a line of column names.
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["first_bar", "last_bar", "take", "file", "notes_held_at_the_join"])
    for piece in comp.pieces:
        take = takes[piece.take]
        table.writerow([piece.first_bar, piece.last_bar, take.name, take.path.name, piece.held])
    return out.getvalue().encode()
