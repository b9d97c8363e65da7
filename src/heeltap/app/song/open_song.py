"""A song with everything that its file names at hand; and a first song file from a MIDI file.

Inside: `OpenSong`, `open_song`, `song_file`, `guess_song`.
"""

import difflib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from heeltap.analysis.analyse import Options
from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import Leader
from heeltap.analysis.strokes import fold_retriggers
from heeltap.app.score.read import leading_drums
from heeltap.app.score.reading import Drums, Reading, Timeline
from heeltap.app.song.drum_sections import sections_from_drums
from heeltap.errors import InputFileError
from heeltap.files.smf import Midi, read_midi
from heeltap.files.toml.songs import read_song
from heeltap.model.parts import Part, choose_part, describe_parts
from heeltap.model.plan import Plan, Section
from heeltap.model.plan_from import plan_of_part
from heeltap.model.sections import sections_from_markers
from heeltap.model.song import Song

__all__ = ["ENDING", "OpenSong", "guess_song", "open_song", "song_file"]

ENDING = ".song.toml"


@dataclass(frozen=True, eq=False)
class OpenSong:
    """A song and what its files hold."""

    song: Song
    path: Path
    """Of the song file."""
    midi: Midi
    """The song's own file."""
    timeline: Timeline
    """Tempo, metre and sections."""
    bars: int
    drums: Drums | None
    """What leads; None is the click."""
    plan: Plan | None
    """What should be played; None where only the player knows."""

    @cached_property
    def drummer(self) -> Leader | None:
        """Kick and snare against the click, followed once; None where the click leads."""
        if self.drums is None:
            return None
        return follow_drums(fold_retriggers(self.drums.notes).notes, self.timeline.tempo, self.timeline.metre)

    @property
    def reading(self) -> Reading:
        """How its takes are read."""
        return Reading(plan=self.plan, leader=self.drums, at_bar=self.song.begins_at_bar, timeline=self.timeline)

    @property
    def options(self) -> Options:
        """How its takes are judged."""
        song = self.song
        return Options(lean=song.lean, pocket_ms=song.pocket_ms, delay_ms=song.recording_delay_ms)

    @property
    def files(self) -> list[Path]:
        """The song's own files, which nothing may write over."""
        song, folder = self.song, Path(self.song.folder)
        return [self.path, *(folder / one for one in (song.file, song.drums_file) if one)]

    @property
    def takes_folder(self) -> Path:
        """Where its takes lie."""
        return Path(self.song.folder) / self.song.takes


def song_file(what: str) -> Path:
    """The song file that a person names: its path, or its name in this folder.

    Parameters
    ----------
    what : str

    Returns
    -------
    Path

    Raises
    ------
    InputFileError
        There is no such song here; names the nearest.
    """
    path = Path(what)
    if path.name.endswith(".toml") or path.is_file():
        return path
    here = Path(f"{what}{ENDING}")
    if here.is_file():
        return here
    names = sorted(one.name.removesuffix(ENDING) for one in here.parent.glob(f"*{ENDING}"))
    near = difflib.get_close_matches(path.name, names, 1, 0.4)
    expected = f"one of {', '.join(names)}" if names else "a song file"
    hint = f"nearest: {near[0]}" if near else "heeltap song new SONG.mid writes one"
    raise InputFileError(what, "no such song", expected, hint)


def open_song(what: str) -> OpenSong:
    """The song that a person names, with its drums, its plan and its sections.

    Parameters
    ----------
    what : str
        As for `song_file`.

    Returns
    -------
    OpenSong

    Raises
    ------
    InputFileError, MidiFileError, SetFileError
        No such song, a mistake in its file, or a file or part that it names is not there.
    """
    path = song_file(what)
    song = read_song(path)
    midi = read_midi(Path(song.folder) / song.file)
    bars = _bars(midi)
    sections = tuple(replace(one, last_bar=min(one.last_bar, bars)) for one in song.sections if one.first_bar <= bars)
    sections = sections or _marked(midi, bars)
    drums = None
    if song.drums:
        home = read_midi(Path(song.folder) / song.drums_file) if song.drums_file else midi
        drums = leading_drums(home, song.drums)
    plan = None if not song.plan else replace(plan_of(midi, choose_part(midi, song.plan)), sections=sections)
    return OpenSong(song, path, midi, Timeline(midi.tempo, midi.metre, sections), bars, drums, plan)


def plan_of(midi: Midi, part: Part) -> Plan:
    """A part of a file as a plan.

    Parameters
    ----------
    midi : Midi
    part : Part

    Returns
    -------
    Plan
    """
    rows = midi.rows_of(part)
    return plan_of_part(
        midi.tick[rows],
        midi.pitch[rows],
        midi.velocity[rows],
        tempo=midi.tempo,
        metre=midi.metre,
        markers=[(marker.tick, marker.text) for marker in midi.markers],
        name=f"{Path(midi.path).name}, {part.name}",
    )


def guess_song(path: str | Path, part: str | None = None) -> tuple[Song, dict[str, str]]:
    """A song file for a MIDI file, and which of its values are guesses, with the reason for each.

    Parameters
    ----------
    path : path
        The song as a MIDI file.
    part : str, optional
        The part that will be played; where it is not given, the only one that is no drum part.

    Returns
    -------
    song : Song
    guesses : dict
        Keys of the song file, each with the reason.

    Raises
    ------
    InputFileError
        No such part, or it cannot be told which one is played.
    """
    midi = read_midi(path)
    guesses: dict[str, str] = {}
    drums = [one for one in midi.parts if one.is_drums]
    others = [one for one in midi.parts if not one.is_drums]
    if part is None and len(others) != 1:
        raise InputFileError(str(path), f"{len(others)} parts to play", "--part", describe_parts(midi.parts))
    mine = others[0] if part is None else choose_part(midi, part)
    if part is None:
        guesses["part"] = "the only part that is no drum part"
    if drums:
        kind = "looks like a drum part by its channel, name or keys"
        guesses["drums"] = kind if len(drums) == 1 else f"the first of {len(drums)} that look like drum parts"
    else:
        guesses["drums"] = "no part looks like drums, so the click gives the time"
    guesses["plan"] = "the same part, as the song's file has it"
    bars = _bars(midi)
    sections = _marked(midi, bars)
    if not sections and drums:
        sections = sections_from_drums(midi, drums[0], bars)
        guesses["section"] = "a guess from where the drum pattern changes"
    title = Path(path).stem.replace("-", " ").replace("_", " ").strip().capitalize()
    song = Song(
        name=Path(path).stem,
        title=title or "Song",
        file=Path(path).name,
        part=_name_of(mine),
        drums=_name_of(drums[0]) if drums else "",
        plan=_name_of(mine),
        takes=f"{Path(path).stem}-takes",
        sections=sections,
        folder=str(Path(path).parent),
    )
    return song, guesses


def _name_of(part: Part) -> str:
    """What names a part again: its name, or its number where it has none."""
    return part.name or str(part.index)


def _bars(midi: Midi) -> int:
    """The last bar in which something is played."""
    quarters = midi.tick[-1:] / midi.tempo.ticks_per_quarter
    return int(midi.metre.bar_beat(quarters)[0].max(initial=1))


def _marked(midi: Midi, bars: int) -> tuple[Section, ...]:
    """The sections that the file's markers name."""
    markers = [(marker.tick, marker.text) for marker in midi.markers]
    return sections_from_markers(markers, midi.metre, bars, ticks_per_quarter=midi.tempo.ticks_per_quarter)
