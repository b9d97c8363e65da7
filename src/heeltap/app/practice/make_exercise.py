"""Make an exercise and write it down: as text to read, as a MIDI file to hear, as TOML to keep and change.

Inside: `make_exercise`, `families`, `course_text`, `exercise_text`, `exercise_toml`, `exercise_midi`, `click_wav`,
`write_exercise`.
"""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap.course.generate import generate
from heeltap.course.recipes import Family
from heeltap.errors import PlanError, sentence
from heeltap.files.smf.write import TrackOut, midi_bytes
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.files.toml.families import FAMILIES, read_cells, read_family
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.counting import BarStrokes, Syllable, bar_ticks, counting_line, parse_counting, unit_ticks
from heeltap.model.exercise import (
    PADS,
    Bar,
    Exercise,
    Ladder,
    Pocket,
    clicks,
    parse_click,
    parse_metre,
    with_pads,
)
from heeltap.model.notes import make_notes
from heeltap.model.plan import ANY_PITCH, Plan, Section
from heeltap.model.plan_from import plan_of, tempo_of
from heeltap.sound.click import click_schedule
from heeltap.sound.percussion import CHANNEL, WOOD_BLOCK
from heeltap.sound.render import RATE_HZ, render, wav_bytes
from heeltap.units import TICKS_PER_QUARTER
from heeltap.write import MADE_BY, write_asked

__all__ = [
    "click_wav",
    "course_text",
    "exercise_midi",
    "exercise_text",
    "exercise_toml",
    "families",
    "make_exercise",
    "write_exercise",
]

_ANY_KEYS = (60, 48, 72)
"""Key in a MIDI file where any key would do, by hand: not known, left, right."""

_CLICK_WORDS = {
    "every": "click on every beat",
    "backbeat": "click on the answering beats only",
    "one": "click on the one only",
    "fade": "click that fades out",
    "none": "no click after the count-in",
}
_UNIT_WIDTHS = {1: 4, 2: 6, 3: 9, 4: 12, 12: 12}
"""Columns for one counted unit by how finely the exercise cuts it: every syllable gets a column and a space."""


def families() -> tuple[Family, ...]:
    """Every family that ships with heeltap, in the order in which they are learned."""
    return tuple(read_family(name) for name in FAMILIES)


def make_exercise(
    family: str,
    grade: str | int = 1,
    *,
    metre: str = "4/4",
    seed: int = 1,
    tempo_bpm: float | None = None,
    bars: int | None = None,
    click: str | None = None,
    ladder: Ladder | None = None,
    pocket: Pocket | None = None,
    pads: Mapping[str, int] | None = None,
) -> Exercise:
    """The exercise of a family and grade; the same arguments give the same exercise everywhere.

    Parameters
    ----------
    family : str
        One of `heeltap.files.toml.families.FAMILIES`.
    grade : str or int
        Name of the grade, or the number that it has.
    metre : str
        One of `heeltap.model.exercise.METRES`.
    tempo_bpm : float, optional
        Quarter notes a minute; the grade's own where not given.
    bars : int, optional
        Length without the count-in; the grade's own where not given.
    click : str, optional
        As `heeltap.model.exercise.parse_click` reads it; the grade's own where not given.
    ladder, pocket : optional
        A climbing tempo, and where strokes should sit.
    pads : mapping, optional
        Key number of each pad by its role, where they are not General MIDI's.

    Raises `PlanError` naming the nearest family, grade or metre, the tempi that are possible, or the least length.
    """
    exercise = generate(
        read_family(family),
        grade,
        metre=parse_metre(metre),
        seed=seed,
        cells=read_cells(),
        tempo_bpm=tempo_bpm,
        bars=bars,
        ladder=ladder,
        pocket=pocket,
    )
    if click is not None:
        exercise = replace(exercise, click=parse_click(click))
    return with_pads(exercise, pads) if pads else exercise


def exercise_toml(exercise: Exercise) -> str:
    """The exercise as TOML, to keep or to change by hand; it reads back as the same exercise."""
    return exercise_to_toml(exercise)


def exercise_midi(exercise: Exercise, *, with_click: bool = False) -> bytes:
    """The exercise as a MIDI file: its notes in one part, its sections as markers, its click as a second part if wanted.

    Tick 0 is bar 1, beat 1: there is no count-in. Where the exercise accepts any key the file has C4 (the left hand C3,
    the right C5), so as a plan it is stricter than the exercise itself. Without the click it is a plan that needs no
    choice of part.
    """
    plan, bar = plan_of(exercise), bar_ticks(exercise.metre)
    pads = any(voice.name in PADS for voice in exercise.voices)
    keys = np.where(plan.pitch == ANY_PITCH, as_ints(_ANY_KEYS)[plan.hand], plan.pitch)
    notes = make_notes(plan.at_us, keys, np.where(plan.velocity > 0, plan.velocity, 80), duration_us=_lengths_us(plan))
    starts = [int(plan.tempo.us_at((section.first_bar - 1) * bar)) for section in exercise.sections]
    return midi_bytes(
        [
            TrackOut(notes, name=exercise.title, channel=CHANNEL if pads else 0),
            *([_click_track(exercise)] * with_click),
        ],
        tempo=plan.tempo,
        metre=plan.metre,
        markers=[(at, section.name) for at, section in zip(starts, exercise.sections, strict=True)],
        name=exercise.title,
        end_us=int(plan.tempo.us_at(_length_ticks(exercise))),
        text=MADE_BY,
    )


def _click_track(exercise: Exercise) -> TrackOut:
    """The clicks on channel 10, without the count-in."""
    clicked = clicks(exercise.click, exercise.metre, len(exercise.bars))
    beats = make_notes(
        tempo_of(exercise).us_at(clicked.at_tick),
        np.where(clicked.is_one, *reversed(WOOD_BLOCK)),
        np.maximum(1, np.rint(110 * clicked.strength)),
        duration_us=np.full(clicked.at_tick.size, 40_000),
    )
    return TrackOut(beats, name="click", channel=CHANNEL)


def _lengths_us(plan: Plan) -> IntArray:
    """Half the way to the next stroke, half a beat at most: long enough to hear, never touching the next."""
    starts = np.unique(plan.at_us)
    gap = np.diff(starts, append=starts[-1] + 1_000_000)
    lengths: IntArray = np.minimum(gap // 2, 300_000)
    return lengths[np.searchsorted(starts, plan.at_us)]


def write_exercise(exercise: Exercise, path: Path, *, force: bool = False) -> None:
    """Write the exercise where the name's ending says how: ``.toml``, ``.mid``, ``.wav`` (count-in and click) or ``.txt``.

    Raises `PlanError` for another ending, `InputFileError` when the file cannot be written, as
    `heeltap.write.check_asked`.
    """
    writers = {
        ".toml": lambda: exercise_toml(exercise).encode(),
        ".mid": lambda: exercise_midi(exercise),
        ".midi": lambda: exercise_midi(exercise),
        ".wav": lambda: click_wav(exercise),
        ".txt": lambda: exercise_text(exercise).encode(),
    }
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise PlanError(sentence(str(path), f"a name ending in '{path.suffix}'", ".toml, .mid, .wav or .txt"))
    write_asked(path, writer(), force=force)


def click_wav(exercise: Exercise) -> bytes:
    """Count-in and click of an exercise as a WAV file, each click at its own sample: to practise without a device."""
    plan = plan_of(exercise)
    clicked = clicks(exercise.click, exercise.metre, len(exercise.bars))
    count_in = max(exercise.count_in_bars, 1)
    schedule = click_schedule(plan.tempo, plan.metre, plan.bars, clicks=clicked, count_in_bars=count_in)
    return wav_bytes(render(schedule, RATE_HZ)[0], RATE_HZ)


def course_text() -> str:
    """All families and grades with their aims, to choose from."""
    lines = []
    for family in families():
        lines += textwrap.wrap(f"{family.title} ({family.name}): {family.aim}", 79, subsequent_indent="  ")
        widest = max(len(grade.name) for grade in family.grades)
        for grade in family.grades:
            label = f"  {family.name} {grade.name:<{widest}}  "
            text = f"{label}{grade.title}. {grade.aim}"
            lines += textwrap.wrap(text, 79, subsequent_indent=" " * len(label), break_on_hyphens=False)
        lines.append("")
    return "\n".join(lines)


def exercise_text(exercise: Exercise) -> str:
    """The exercise as plain ASCII text: what it is for, how it is played, and every bar with its counting line.

    ``o`` is a stroke, ``#`` an accented one, ``~`` runs below a fill; bars that are alike are printed once.
    """
    lines = [exercise.title, exercise.aim, _how(exercise)]
    if exercise.ladder:
        lines.append(_ladder_words(exercise))
    patterns = [[parse_counting(line, exercise.metre) for line in bar.lines] for bar in exercise.bars]
    lines += ["", "o stroke" + ("   # accented stroke" if any(any(p.accent) for row in patterns for p in row) else "")]
    width = _unit_width(exercise, patterns)
    for section in exercise.sections or (Section("", 1, len(exercise.bars)),):
        name = f"{section.name}, " if section.name else ""
        lines += ["", f"{name}bars {section.first_bar}-{section.last_bar}"]
        for first, last in _alike(exercise.bars, section.first_bar, section.last_bar):
            lines += _bar_lines(exercise, first, last, patterns[first - 1], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _how(exercise: Exercise) -> str:
    """Metre, tempo, click, length and where it came from, in one line."""
    click = exercise.click
    words = _CLICK_WORDS.get(click.kind) or f"click for {click.bars_on} bars, silence for {click.bars_off}, in turn"
    length_s = int(tempo_of(exercise).us_at(_length_ticks(exercise))) / 1e6
    felt = exercise.metre.beat_quarters
    tempo = f"{exercise.tempo_bpm:g} bpm" + (
        f" (dotted quarter = {round(exercise.tempo_bpm / felt, 1):g})" if felt == 1.5 else ""
    )
    parts = [str(exercise.metre), tempo, words, f"{len(exercise.bars)} bars ({length_s:.0f} s)"]
    if exercise.swing_ratio != 1:
        parts.append(f"eighths swung {exercise.swing_ratio:g} to 1")
    if exercise.family:
        parts.append(f"{exercise.family} {exercise.grade}, seed {exercise.seed}")
    return "; ".join(parts)


def _length_ticks(exercise: Exercise) -> int:
    return len(exercise.bars) * bar_ticks(exercise.metre)


def _ladder_words(exercise: Exercise) -> str:
    tempo, step = tempo_of(exercise), exercise.ladder
    every = step.every_bars if step else 0
    bpm = [f"{60e6 / per_quarter:.0f}" for per_quarter in tempo.us_per_quarter.tolist()]
    return f"tempo changes every {every} bars: {', '.join(bpm)} bpm"


def _alike(bars: Sequence[Bar], first: int, last: int) -> list[tuple[int, int]]:
    """Runs of equal bars as (first, last)."""
    runs: list[tuple[int, int]] = []
    for number in range(first, last + 1):
        if runs and bars[number - 1] == bars[runs[-1][0] - 1]:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    return runs


def _unit_width(exercise: Exercise, patterns: Sequence[Sequence[BarStrokes]]) -> int:
    """Columns of one unit: as many as the finest bar needs, fewer where the bar would not fit 70 columns."""
    per_unit = unit_ticks(exercise.metre)
    parts = {at % per_unit * 12 // per_unit for row in patterns for pattern in row for at in pattern.at_tick}
    thirds, quarters, halves = parts & {4, 8}, parts & {3, 9}, 6 in parts
    cut = 12 if thirds and (quarters or halves) else 3 if thirds else 4 if quarters else 2 if halves else 1
    width = _UNIT_WIDTHS[cut]
    while width > 4 and width * exercise.metre.count > 70:
        width -= 2 if cut in (1, 2) else 3
    return max(width, 4)


def _bar_lines(exercise: Exercise, first: int, last: int, patterns: Sequence[BarStrokes], width: int) -> list[str]:
    """Counting line and one line a voice of a run of equal bars."""
    metre, bar = exercise.metre, exercise.bars[first - 1]
    strokes = [at for pattern in patterns for at in pattern.at_tick]
    label = f"bar {first}" if first == last else f"{first}-{last}"
    lines = [f"{label:<10}{_row(counting_line(strokes, metre), metre.unit, width)}"]
    if not strokes:
        return [*lines, "rest"]
    for voice, pattern in zip(exercise.voices, patterns, strict=True):
        marks = [
            Syllable(at / TICKS_PER_QUARTER, "#" if loud else "o")
            for at, loud in zip(pattern.at_tick, pattern.accent, strict=True)
        ]
        name = "" if voice.name == "any" else voice.name[:9]
        if marks:
            lines.append(f"{name:<10}{_row(marks, metre.unit, width)}")
    if bar.fill_from:
        start, end = (bar.fill_from - 1) * width, metre.count * width - 1
        lines.append(f"{'fill':<10}{' ' * start}{'~' * (end - start)}")
    return lines


def _row(marks: Sequence[Syllable], unit: int, width: int) -> str:
    """The marks in their columns."""
    text = ""
    for mark in marks:
        column = round(mark.at_quarter * unit / 4 * width)
        text = text.ljust(column) + mark.text
    return text
