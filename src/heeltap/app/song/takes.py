"""The takes of a song as people have them: files, tracks of one file, folders, clips and punch-ins; each put at its place.

A clip is a file that begins somewhere in the song. Where, its name says (``bars 21-28.mid``), or a marker at its beginning,
or the song file for all of them; else it is looked for in the known part.

Inside: `SongTake`, `takes_of`, `bar_in_name`, `bars_that_fit`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.app.score.batch import midi_files
from heeltap.app.score.compare import in_order
from heeltap.app.score.read import take_in
from heeltap.app.score.reading import Timeline, bar_us
from heeltap.app.score.score import Ready, ready
from heeltap.app.song.drill_song import drill_words
from heeltap.app.song.open_song import OpenSong
from heeltap.errors import HeeltapError, InputFileError
from heeltap.files.smf import Midi, read_midi
from heeltap.files.takes.folder import take_of
from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.notes import Notes
from heeltap.model.parts import Part, choose_part
from heeltap.model.plan import ANY_PITCH, Plan

__all__ = ["SongTake", "bar_in_name", "bars_that_fit", "takes_of"]

_BAR = re.compile(r"(?:^|[^a-z])bars?[ _-]*(\d{1,5})", re.IGNORECASE)

_CLIP = 0.6
"""Share of the song up to which a take may be a clip of it. Ours."""

_NEAR_US = 100_000
"""A note answers a planned one of its key within this while a clip is looked for. Ours."""

_FITS, _AS_WELL = 0.7, 0.03
"""Share of answered notes from which a place fits, and within which two places fit equally well. Ours."""


@dataclass(frozen=True, slots=True, eq=False)
class SongTake:
    """One take of a song."""

    name: str
    ready: Ready
    path: Path
    notes: tuple[str, ...] = ()
    """What heeltap took for granted, a line each."""


def takes_of(opened: OpenSong, names: Sequence[str] = ()) -> tuple[list[SongTake], list[str]]:
    """The takes that a person names, in the order played, and a line for each file that cannot be used.

    Parameters
    ----------
    opened : OpenSong
    names : sequence of str
        Files and folders; none: the song's own folder of takes.

    Returns
    -------
    takes : list of SongTake
    problems : list of str

    Raises
    ------
    InputFileError
        The song's folder is not there, or a folder holds no MIDI file.
    """
    folder = opened.takes_folder
    if not names and not folder.is_dir():
        raise InputFileError(
            str(folder), "no such folder", "the song's takes", "name them, or change takes in the song file"
        )
    own = {Path(opened.song.folder, one).resolve() for one in (opened.song.file, opened.song.drums_file) if one}
    paths = [path for path in in_order(midi_files(names or [str(folder)])) if path.resolve() not in own]
    found: list[SongTake] = []
    problems: list[str] = []
    for path in paths:
        try:
            found += [_kept(opened, path)] if take_of(path) is not None else _of_file(opened, path)
        except HeeltapError as error:
            problems.append(str(error))
    return _named_apart(found), problems


def _kept(opened: OpenSong, path: Path) -> SongTake:
    """A take that was drilled: it knows its bars."""
    return SongTake(path.name, ready(path, None, opened.options), path)


def _of_file(opened: OpenSong, path: Path) -> list[SongTake]:
    """Every take in a MIDI file: usually one, or one a track."""
    midi = read_midi(path)
    parts = _parts(midi, opened.song.part)
    return [
        _placed(opened, midi, part, path.stem if len(parts) == 1 else f"{path.stem}: {part.name or part.index}")
        for part in parts
    ]


def _parts(midi: Midi, wanted: str) -> list[Part]:
    """The parts that are takes: those whose name begins like the song's part, else the only one that is no drum part."""
    playable = [part for part in midi.parts if not part.is_drums and part.notes]
    named = [part for part in playable if part.name.casefold().startswith(wanted.casefold())]
    if named or len(playable) == 1:
        return named or playable
    return [choose_part(midi, wanted)]


def _placed(opened: OpenSong, midi: Midi, part: Part, name: str) -> SongTake:
    """One take at its place in the song."""
    asked = replace(opened.reading, part=str(part.index), drill=drill_words(opened))
    said: list[str] = []
    if asked.at_bar is None:
        bar = bar_in_name(Path(midi.path).stem) or _bar_in_markers(midi)
        if bar is None and opened.plan is not None:
            bar, said = _looked_for(midi.notes_of(part), opened.plan, name)
        asked = replace(asked, at_bar=bar)
    taken = replace(take_in(midi, asked), find_place=False)
    return SongTake(name, Ready(taken, opened.options), Path(midi.path), tuple(said))


def bar_in_name(name: str) -> int | None:
    """The bar that a file's name says it begins with, such as ``keys bars 21-28``; None where it says none.

    Parameters
    ----------
    name : str

    Returns
    -------
    int or None
    """
    found = _BAR.search(name)
    return int(found[1]) if found and int(found[1]) else None


def _bar_in_markers(midi: Midi) -> int | None:
    """The bar that a marker at the very beginning names."""
    return next((bar_in_name(one.text) for one in midi.markers if one.tick == 0 and bar_in_name(one.text)), None)


def _looked_for(notes: Notes, plan: Plan, name: str) -> tuple[int | None, list[str]]:
    """Where a short take fits the known part, and what to say about it; None where it lies right, or fits nowhere."""
    fits = bars_that_fit(notes, plan)
    if not fits or 1 in fits:
        return None, []
    last = fits[0] + _bars_long(notes, plan) - 1
    text = f"{name} looks like " + (f"bars {fits[0]}-{last}" if last > fits[0] else f"bar {last}")
    others = "" if len(fits) == 1 else f"; from bar {', '.join(map(str, fits[1:]))} it fits as well"
    return fits[0], [f"{text}{others}. If not, put the bar into its name, such as '{name} bar {fits[0]}'."]


def bars_that_fit(notes: Notes, plan: Plan) -> list[int]:
    """The bars at which a short take may begin, by the keys and times of the known part; empty where none fits.

    Parameters
    ----------
    notes : Notes
        From bar 1 of the take's own file.
    plan : Plan
        The known part.

    Returns
    -------
    list of int
        The best one first; others only where they fit as well.
    """
    if len(notes) == 0 or len(plan) == 0 or _bars_long(notes, plan) > _CLIP * plan.bars:
        return []
    shares = np.array([_answered(notes, plan, bar) for bar in range(1, plan.bars + 1)])
    best = float(shares.max())
    if best < _FITS:
        return []
    fits = (np.flatnonzero(shares >= best - _AS_WELL) + 1).tolist()
    return sorted(fits, key=lambda bar: (-round(float(shares[bar - 1]) / _AS_WELL), bar))


def _bars_long(notes: Notes, plan: Plan) -> int:
    """How many bars of the song a take is long."""
    length_us = int(notes.onset_us[-1] - notes.onset_us[0])
    return int(plan.metre.bar_beat(plan.tempo.quarter_at(length_us))[0])


def _answered(notes: Notes, plan: Plan, bar: int) -> float:
    """Share of the notes that answer a planned one, and of the planned ones between them that are answered, if begun there."""
    onset = notes.onset_us + bar_us(Timeline(plan.tempo, plan.metre), bar)
    hit = 0
    for key in np.unique(notes.pitch).tolist():
        planned = plan.at_us[(plan.pitch == key) | (plan.pitch == ANY_PITCH)]
        hit += int(np.sum(_nearest_us(planned, onset[notes.pitch == key]) <= _NEAR_US))
    due = int(np.sum((plan.at_us >= onset[0] - _NEAR_US) & (plan.at_us <= onset[-1] + _NEAR_US)))
    return 2 * hit / (len(notes) + due)


def _nearest_us(planned_us: IntArray, onset_us: IntArray) -> FloatArray:
    """Distance of each time to the nearest planned one."""
    padded = np.concatenate([[-np.inf], planned_us, [np.inf]])
    after = np.searchsorted(padded, onset_us)
    near: FloatArray = np.minimum(onset_us - padded[after - 1], padded[after] - onset_us)
    return near


def _named_apart(takes: list[SongTake]) -> list[SongTake]:
    """The takes with the folder in their name where two would be called the same."""
    names = [take.name for take in takes]
    return [
        take if names.count(take.name) == 1 else replace(take, name=f"{take.path.parent.name}/{take.name}")
        for take in takes
    ]
