"""Hear a take as you played it, with every stroke where it belongs, half way between, or beside another take: as one schedule.

Where a stroke belongs is where its result says: as much earlier or later as its offset lies beside the lean. A stroke
that the result does not place stays where you played it.

Inside: `Heard`, `heard_file`, `heard_kept`, `heard_song_take`, `Part`, `Listening`, `one_after_the_other`, `VERSIONS`,
`AHEAD_US`.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.app.listen.playback import click_of, without_retriggers
from heeltap.app.score.score import Ready
from heeltap.app.song.open_song import OpenSong
from heeltap.app.song.takes import SongTake
from heeltap.app.takes.load_scored_inputs import score_inputs, scored_inputs_of
from heeltap.errors import InputFileError, OptionError, sentence
from heeltap.files.takes.folder import load_take
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.messages import Schedule, is_note_on, merge
from heeltap.model.notes import Notes
from heeltap.model.parts import choose_part
from heeltap.model.plan import Section
from heeltap.model.result import Result
from heeltap.model.timeline import MetreMap, TempoMap, bar_starts_us
from heeltap.safe_text import safe_line
from heeltap.sound.click import CLICK_SOUNDS, click_schedule
from heeltap.sound.drums import part_schedule
from heeltap.sound.played import played_schedule
from heeltap.sound.render import RATE_HZ, Mixer
from heeltap.sound.stretches import BREATH_US, mark, softer, stretch

__all__ = [
    "AHEAD_US",
    "VERSIONS",
    "Heard",
    "Listening",
    "Part",
    "heard_file",
    "heard_kept",
    "heard_song_take",
    "one_after_the_other",
]

VERSIONS = {"played": 0.0, "half": 0.5, "moved": 1.0}
"""Share of the way from where a stroke was played to where it belongs."""

_ROUNDED_US = 1_000
"""A stroke that belongs on a bar line may be reckoned so much before it."""

AHEAD_US = BREATH_US // 2
"""A stroke may be played so much before the stretch that it belongs to."""

_IN_WORDS = {"played": "as played", "half": "half way to where it belongs", "moved": "where it belongs"}


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A take that can be heard."""

    name: str
    notes: Notes
    """As they were played."""
    result: Result
    backing: Schedule
    """What it is heard with."""
    starts_us: tuple[int, ...]
    """Where each bar begins, and where the last one ends."""
    sections: tuple[Section, ...]

    @property
    def bars(self) -> int:
        """How many there are."""
        return len(self.starts_us) - 1

    def strokes(self, version: str, low_us: int, high_us: int) -> Schedule:
        """The player's own strokes that belong between two moments, in one of the `VERSIONS`, the delay taken away.

        0 is the first moment, and a stroke that came early for it lies before.

        Parameters
        ----------
        version : str
        low_us, high_us : int
            Microseconds from bar 1, beat 1.
        """
        home_us = _moved_us(self.notes, self.result, 1.0, lean_ms=0.0)
        rows = np.flatnonzero((home_us >= low_us - _ROUNDED_US) & (home_us < high_us - _ROUNDED_US))
        at_us = _moved_us(self.notes, self.result, VERSIONS[version])[rows]
        rows, at_us = rows[order := np.argsort(at_us, kind="stable")], at_us[order] - low_us
        columns = (self.notes.pitch, self.notes.velocity, self.notes.channel, self.notes.track, self.notes.duration_us)
        return played_schedule(Notes(at_us, *(column[rows] for column in columns)), high_us - low_us)


def _moved_us(notes: Notes, result: Result, share: float, lean_ms: float | None = None) -> IntArray:
    """Times of the notes, moved so much of the way to where they belong; without a lean to where the player aimed."""
    delay_ms = result.calibration.delay_ms
    if lean_ms is None:
        lean_ms = result.lean_ms if result.calibration.known else result.overall.centre_ms
    at_us = notes.onset_us - 1000.0 * delay_ms
    rows: dict[tuple[int, int, int], list[float]] = defaultdict(list)
    for row in result.notes:
        if row.offset_ms is not None:
            rows[round(row.time_s * 1e6), row.pitch, row.velocity].append(row.offset_ms)
    keys = zip(notes.onset_us.tolist(), notes.pitch.tolist(), notes.velocity.tolist(), strict=True)
    for i, key in enumerate(keys):
        if rows[key]:
            at_us[i] -= 1000.0 * share * (rows[key].pop(0) - lean_ms)
    moved: IntArray = np.rint(at_us).astype(np.int64)
    return moved


def heard_kept(folder: Path) -> Heard:
    """A kept take with what it was played to; raises `TakeFileError`, `MidiFileError` where it cannot be read."""
    take = load_take(folder)
    result = score_inputs(scored_inputs_of(take))
    plan = take.plan
    return Heard(
        name=folder.name,
        notes=without_retriggers(take.notes, take.context),
        result=result,
        backing=click_of(take.context, plan, CLICK_SOUNDS["wood"]),
        starts_us=bar_starts_us(plan.tempo, plan.metre, plan.bars),
        sections=plan.sections,
    )


def heard_file(name: str, ready: Ready, sounds: str | None) -> Heard:
    """A take in a MIDI file, with the drums that lead it, the click, or nothing.

    Parameters
    ----------
    name : str
    ready : Ready
    sounds : str, optional
        ``drums``, ``click`` or ``none``; the drums where they lead, else the click.

    Raises
    ------
    OptionError
        Other words, or drums where there are none.
    """
    played = ready.played
    starts_us = _long_enough(played.tempo, played.metre, played.notes, played.plan.bars if played.plan else 1)
    wanted = sounds or ("click" if played.leader is None else "drums")
    if wanted == "drums" and played.leader is not None:
        backing = part_schedule(played.leader, starts_us[-1])
    elif wanted == "click":
        backing = click_schedule(played.tempo, played.metre, len(starts_us) - 1, count_in_bars=0)
    elif wanted == "none":
        backing = _silence(starts_us[-1])
    else:
        known = "click or none" if played.leader is None else "drums, click or none"
        raise OptionError(
            sentence(name, f"--with {wanted}", known, "a song knows its other parts: heeltap listen SONG TAKE")
        )
    sections = played.sections if played.plan is None else played.plan.sections
    return Heard(name, played.notes, ready.result, backing, starts_us, sections)


def heard_song_take(opened: OpenSong, take: SongTake, sounds: str | None) -> Heard:
    """A take of a song with the song's own parts.

    Parameters
    ----------
    opened : OpenSong
    take : SongTake
    sounds : str, optional
        ``click``, ``none``, or parts with commas between them, such as ``drums,bass``; the drums where not given.

    Raises
    ------
    InputFileError
        No such part.
    """
    wanted = sounds or ("drums" if opened.drums is not None else "click")
    if wanted in ("click", "none"):
        return heard_file(take.name, take.ready, wanted)
    played = take.ready.played
    starts_us = _long_enough(played.tempo, played.metre, played.notes, opened.bars)
    parts = [_song_part(opened, word.strip(), starts_us[-1]) for word in wanted.split(",")]
    return Heard(take.name, played.notes, take.ready.result, merge(*parts), starts_us, opened.timeline.sections)


def _song_part(opened: OpenSong, word: str, end_us: int) -> Schedule:
    """One part of the song, drums as drums."""
    if word.lower() == "drums" and opened.drums is not None:
        return part_schedule(opened.drums.notes, end_us)
    part = choose_part(opened.midi, word)
    notes = opened.midi.notes_of(part)
    return (
        part_schedule(notes, end_us) if part.is_drums else played_schedule(notes.pick(notes.onset_us < end_us), end_us)
    )


def _silence(end_us: int) -> Schedule:
    return Schedule(as_ints([]), (), (), end_us)


def _long_enough(tempo: TempoMap, metre: MetreMap, notes: Notes, least: int) -> tuple[int, ...]:
    """Where the bars begin, up to the one in which the last note begins."""
    last = int(metre.bar_beat(tempo.quarter_at(notes.onset_us[-1:]))[0].max(initial=1))
    return bar_starts_us(tempo, metre, max(least, last))


@dataclass(frozen=True, slots=True)
class Part:
    """One stretch of what is to be heard."""

    take: Heard
    version: str
    first_bar: int
    last_bar: int
    marks: int = 1
    """How many short strokes go before it: the first version or take, or the second."""

    @property
    def words(self) -> str:
        """Which bars of which take, and how."""
        bars = f"bar {self.first_bar}" if self.first_bar == self.last_bar else f"bars {self.first_bar}-{self.last_bar}"
        return f"{safe_line(self.take.name)}, {bars}, {_IN_WORDS[self.version]}"


@dataclass(frozen=True, slots=True, eq=False)
class Listening:
    """What is to be heard, as one schedule."""

    schedule: Schedule
    begins: tuple[tuple[int, str], ...]
    """When each stretch begins, microseconds, and what it is."""


def one_after_the_other(parts: Sequence[Part], *, alike: bool = False) -> Listening:
    """Stretches one after the other, each with its backing; short high strokes say which of two comes.

    Parameters
    ----------
    parts : sequence of Part
    alike : bool
        Make the players' own strokes of all stretches equally loud: by the root mean square of their samples, the louder ones
        made softer.

    Raises
    ------
    InputFileError
        A take has no such bars.
    """
    own = [_own(part) for part in parts]
    if alike:
        least = min((level for level in map(_level, own) if level > 0), default=0.0)
        own = [softer(one, least / level) if (level := _level(one)) > least > 0 else one for one in own]
    made, begins, at_us = [], [], 0
    for part, strokes in zip(parts, own, strict=True):
        low, high = _span(part)
        if len(parts) > 1:
            made.append(mark(at_us, part.marks))
            at_us += BREATH_US
        begins.append((at_us, part.words))
        made.append(stretch(part.take.backing, low, high, at_us))
        made.append(stretch(strokes, -AHEAD_US, high - low, at_us - AHEAD_US))
        at_us += high - low
    return Listening(merge(*made), tuple(begins))


def _span(part: Part) -> tuple[int, int]:
    first, last = part.first_bar, part.last_bar
    if not 1 <= first <= last <= part.take.bars:
        raise InputFileError(part.take.name, f"bars {first}-{last}", f"bars from 1 to {part.take.bars}")
    return part.take.starts_us[first - 1], part.take.starts_us[last]


def _own(part: Part) -> Schedule:
    """The player's strokes of the stretch, from 0 on."""
    return part.take.strokes(part.version, *_span(part))


def _level(strokes: Schedule) -> float:
    """Root mean square of the strokes' samples."""
    if not any(map(is_note_on, strokes.messages)):
        return 0.0
    mixer, total, size = Mixer(strokes, RATE_HZ), 0.0, max(strokes.end_us * RATE_HZ // 1_000_000, 1)
    for at in range(0, size, RATE_HZ):
        total += float(np.sum(mixer.block(at, min(RATE_HZ, size - at)) ** 2))
    return float(np.sqrt(total / size))
