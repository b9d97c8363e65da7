"""The drill that you name: its plan, its click and its aim.

Inside: `Drill`, `drill_of`, `as_offered`, `with_backing`, `plan_at_tempo`.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.app.drill.backing import Wish, backing_of, wish_of
from heeltap.app.drill.band import NO_BAND, Band, band_of
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.app.practice.sets import Work, set_item
from heeltap.app.score.read import drum_part, load_part
from heeltap.course.drum_patterns import patterns_for
from heeltap.errors import InputFileError, OptionError, PlanError, sentence
from heeltap.files.smf import read_midi
from heeltap.files.toml.beats import read_beats
from heeltap.files.toml.exercises import exercise_from_toml, exercise_to_toml, read_exercise
from heeltap.files.toml.families import FAMILIES
from heeltap.model.arrays import as_ints
from heeltap.model.exercise import ClickPlan, Clicks, Exercise, click_text, clicks, parse_click
from heeltap.model.lean import ON_THE_BEAT, Lean
from heeltap.model.messages import Schedule, merge
from heeltap.model.parts import choose_part
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.model.timeline import TempoMap
from heeltap.session.plan_columns import count_in_us
from heeltap.sound.click import CLICK_SOUNDS, NO_CLICKS, ClickSound, click_schedule
from heeltap.units import us_per_quarter_from_bpm

__all__ = ["Drill", "as_offered", "drill_of", "plan_at_tempo", "with_backing"]

_FAMILY = re.compile(r"([a-z]+)(?:[ _:-]*(\d{1,3})|[ _:-]+([a-z][a-z0-9-]*))?", re.IGNORECASE)

_LOWEST_BPM, _HIGHEST_BPM = 20.0, 300.0


@dataclass(frozen=True, slots=True, eq=False)
class Drill:
    """One thing to play, complete."""

    name: str
    """Short: what takes of it are called."""
    title: str
    aim: str
    """What it is for, in one line; empty where nobody says."""
    plan: Plan
    clicked: Clicks | None
    """Which clicks sound; None is every beat."""
    count_in_bars: int
    lean_ms: float
    """Offset aimed at; ``auto`` is already a number."""
    pocket_ms: float | None
    """Half-width of the pocket; None is 4 % of the beat, 12 to 25 ms."""
    exercise: str | None
    """The exercise as TOML text; None for a plan from a MIDI file."""
    seed: int | None
    """What the exercise was generated from."""
    sound: ClickSound = CLICK_SOUNDS["wood"]
    """How the click sounds."""
    backing: Schedule | None = None
    """A drummer in place of the clicks; the count-in stays."""
    heard: str = ""
    """What was asked to be heard, for the record: ``beat:plain``; empty where it is the exercise's own click."""
    percussion: bool = False
    """Whether the part of a MIDI file is on the percussion channel; False for an exercise, whose voices say it."""
    drums_lead: bool | None = None
    """Whether the player wants to be judged against the drums; None leaves it to heeltap."""
    song: str | None = None
    """The MIDI file that the plan is from; None for an exercise."""
    part: str | None = None
    """The part of it that you play, as you named it."""
    band: Band = NO_BAND
    """The other parts of the song, which can sound as well."""
    whole: "Drill | None" = None
    """What these bars were taken from; None where this is the whole."""
    bar_numbers: tuple[int, ...] = ()
    """What each bar is called in the whole; empty where this is the whole."""
    passes: int = 1
    """How often these bars come in a row."""
    run_in: Schedule | None = None
    """What sounds between the count and bar 1: the bar before, which is not judged. It ends at 0, its times are negative."""
    run_in_us: int = 0
    """How long that bar is."""
    item: str = ""
    """The exercise of a set that this is, such as ``first-week:2``; empty where no set asks for it."""

    @property
    def schedule(self) -> Schedule:
        """Count-in, and clicks or the drummer, as messages."""
        plan, clicked = self.plan, self.clicked if self.backing is None else NO_CLICKS
        own = click_schedule(
            plan.tempo, plan.metre, plan.bars, clicks=clicked, count_in_bars=self.count_in_bars, sound=self.sound
        )
        if self.run_in is not None:
            due = np.where(own.due_us < 0, own.due_us - self.run_in_us, own.due_us)
            own = merge(replace(own, due_us=due), self.run_in)
        return own if self.backing is None else merge(own, self.backing)

    @property
    def beneath(self) -> Schedule:
        """The clicks that can be switched on beneath a drummer, without the count; empty where the click sounds anyway."""
        if self.backing is None:
            return Schedule(as_ints([]), (), (), 0)
        plan = self.plan
        return click_schedule(plan.tempo, plan.metre, plan.bars, clicks=self.clicked, count_in_bars=0, sound=self.sound)

    @property
    def count_in_us(self) -> int:
        """Length of the count-in, with the bar to run in."""
        return count_in_us(self.plan, self.count_in_bars) + self.run_in_us


def drill_of(
    what: str,
    *,
    tempo_bpm: float | None = None,
    lean: Lean | None = None,
    pocket_ms: float | None = None,
    click: str | None = None,
    seed: int | None = None,
    metre: str | None = None,
    part: str | None = None,
    sound: ClickSound = CLICK_SOUNDS["wood"],
) -> Drill:
    """The drill that a person names.

    Parameters
    ----------
    what : str
        A family and a grade (``anchor pillars``, ``anchor 2``), an exercise file (``.toml``), a MIDI file whose part is
        the plan, or an exercise of a set (``first-week:2``, ``my-set.toml:2``) as the set asks for it.
    tempo_bpm : float, optional
        Quarter notes a minute at the start; a changing tempo keeps its proportions.
    lean : Lean, optional
        In place of the exercise's own.
    pocket_ms : float, optional
        In place of the exercise's own.
    click : str, optional
        In place of the exercise's own; also ``beat:NAME`` and ``part:NAME`` as `heeltap.app.drill.backing.wish_of` takes
        them.
    seed : int, optional
        For a family: another number, another exercise of the grade; 1 where not given.
    metre : str, optional
        For a family: such as ``3/4``; 4/4 where not given.
    part : str, optional
        Of a MIDI file with several parts.
    sound : ClickSound
        How the click sounds, and where a drummer sounds.

    Raises
    ------
    PlanError
        No such family or grade, a tempo out of range, or a click that is none.
    InputFileError
        The file cannot be used.
    OptionError
        A part of what is no MIDI file, or a seed or metre of what is not generated here.
    """
    wish = wish_of(click)
    plain = click if wish.source == "click" else None if wish.plan is None else click_text(wish.plan)
    drill, song = _drill(what, tempo_bpm, lean, pocket_ms, plain, seed, metre, part)
    drill = replace(drill, sound=sound, heard=click or "", song=song)
    return with_backing(drill)


def with_backing(drill: Drill) -> Drill:
    """The drill with the drummer that ``Drill.heard`` asks for, at the tempo of its plan.

    Parameters
    ----------
    drill : Drill
        A whole one.

    Returns
    -------
    Drill
        As it is where only a click was asked for.

    Raises
    ------
    PlanError
        There is no such pattern or part for this plan.
    """
    wish = wish_of(drill.heard or None)
    drill = replace(drill, band=_band(drill, wish))
    if wish.source == "click":
        return drill
    own = None if drill.exercise is None else exercise_from_toml(drill.exercise).click
    return replace(drill, backing=backing_of(wish, drill.plan, own, song=drill.song, sound=drill.sound))


def _band(drill: Drill, wish: Wish) -> Band:
    """The parts of the song that neither you nor the drummer plays."""
    if drill.song is None:
        return NO_BAND
    midi = read_midi(drill.song)
    mine = {choose_part(midi, drill.part).index}
    if wish.source == "part":
        mine.add(drum_part(midi, wish.name).index)
    return band_of(drill.song, tuple(mine), drill.plan)


def as_offered(drill: Drill) -> Drill:
    """The drill as the screens offer it: over drums where it is about changes, for the music is what makes people run.

    Parameters
    ----------
    drill : Drill
        To the exercise's own click.

    Returns
    -------
    Drill
        As it is outside the turn family, where a set asks for it, and where no pattern has its metre.
    """
    exercise = None if drill.exercise is None or drill.item else exercise_from_toml(drill.exercise)
    if exercise is None or exercise.family != "turn":
        return drill
    fitting = patterns_for(read_beats().values(), exercise.metre, swing_ratio=drill.plan.swing_ratio)
    return with_backing(replace(drill, heard=f"beat:{fitting[0].name}")) if fitting else drill


def _drill(
    what: str,
    tempo_bpm: float | None,
    lean: Lean | None,
    pocket_ms: float | None,
    click: str | None,
    seed: int | None,
    metre: str | None,
    part: str | None,
) -> tuple[Drill, str | None]:
    """The drill with its clicks, and the MIDI file that its plan is from, if any."""
    if tempo_bpm is not None and not _LOWEST_BPM <= tempo_bpm <= _HIGHEST_BPM:
        raise PlanError(sentence("tempo", f"{tempo_bpm:g} bpm", f"{_LOWEST_BPM:g} to {_HIGHEST_BPM:g} (quarter notes)"))
    if (work := set_item(what)) is not None:
        song = None if work.item.exercise is not None else work.path
        _refuse(what, "the set says which", part=part, seed=seed, metre=metre)
        return replace(_of_set(work, tempo_bpm, lean, pocket_ms, click), item=what.strip()), song
    suffix = Path(what).suffix.lower()
    if suffix == ".toml":
        _refuse(what, "an exercise file is one exercise", part=part, seed=seed, metre=metre)
        return _of_exercise(read_exercise(Path(what)), tempo_bpm, lean, pocket_ms, click, None), None
    if suffix in (".mid", ".midi", ".rmi", ".kar", ".smf"):
        _refuse(what, "a MIDI file is played as it is written", seed=seed, metre=metre)
        return _of_part(what, part, tempo_bpm, lean, pocket_ms, click), what
    found = _FAMILY.fullmatch(what.strip())
    if found is None or (found[1].lower() not in FAMILIES and Path(what).exists()):
        known = ", ".join(FAMILIES)
        raise InputFileError(
            what, "not an exercise", f"a family and a grade ({known}), such as 'anchor 2', a .toml or a .mid"
        )
    _refuse(what, "only a MIDI file has parts", part=part)
    number, counted = 1 if seed is None else seed, metre or "4/4"
    grade = found[2] or found[3] or 1
    exercise = make_exercise(found[1].lower(), grade, metre=counted, seed=number, tempo_bpm=tempo_bpm)
    return _of_exercise(exercise, None, lean, pocket_ms, click, number), None


def _refuse(what: str, why: str, **options: str | int | None) -> None:
    """Raise `OptionError` for the first of these options that was given: this drill cannot honour it."""
    for name, value in options.items():
        if value is not None:
            raise OptionError(sentence(what, f"--{name} {value}", "none", why))


def _of_exercise(
    exercise: Exercise,
    tempo_bpm: float | None,
    lean: Lean | None,
    pocket_ms: float | None,
    click: str | None,
    seed: int | None,
) -> Drill:
    """An exercise with the user's wishes; they are written into the exercise, so that a take says how it was played."""
    if tempo_bpm is not None:
        exercise = replace(exercise, tempo_bpm=tempo_bpm)
    if click is not None:
        exercise = replace(exercise, click=parse_click(click))
    plan = plan_of(exercise)
    return Drill(
        name=exercise.name,
        title=exercise.title,
        aim=exercise.aim,
        plan=plan,
        clicked=clicks(exercise.click, exercise.metre, len(exercise.bars)),
        count_in_bars=max(exercise.count_in_bars, 1),
        lean_ms=(lean or exercise.pocket.lean).ms_in(plan),
        pocket_ms=pocket_ms or exercise.pocket.half_width_ms,
        exercise=exercise_to_toml(exercise),
        seed=seed,
    )


def _of_set(
    work: Work, tempo_bpm: float | None, lean: Lean | None, pocket_ms: float | None, click: str | None
) -> Drill:
    """An exercise of a set; what the user asks for goes before what the set asks for."""
    item = work.item
    if item.exercise is not None:
        return _of_exercise(item.exercise, tempo_bpm, lean, pocket_ms, click, work.seed)
    tempo = tempo_bpm or (item.tempo_bpm[0] if item.tempo_bpm else None)
    drill = _of_part(work.path, work.part, tempo, lean or work.lean, pocket_ms or item.pocket_ms, click or item.click)
    return replace(drill, title=work.title)


def _of_part(
    path: str,
    part: str | None,
    tempo_bpm: float | None,
    lean: Lean | None,
    pocket_ms: float | None,
    click: str | None,
) -> Drill:
    """A part of a MIDI file, at its own tempo or a new one."""
    plan, percussion = load_part(path, part)
    if tempo_bpm is not None:
        plan = plan_at_tempo(plan, tempo_bpm)
    opening = plan.metre.metres[0]
    kind: ClickPlan | None = None if click is None else parse_click(click)
    if kind is not None and len(plan.metre.metres) > 1:
        raise PlanError(sentence("click", f"'{click}'", "every, where the metre changes"))
    return Drill(
        name=Path(path).stem,
        title=plan.name,
        aim="",
        plan=plan,
        clicked=None if kind is None else clicks(kind, opening, plan.bars),
        count_in_bars=1,
        lean_ms=(lean or ON_THE_BEAT).ms_in(plan),
        pocket_ms=pocket_ms,
        exercise=None,
        seed=None,
        percussion=percussion,
        part=part,
    )


def plan_at_tempo(plan: Plan, tempo_bpm: float) -> Plan:
    """The plan with its first tempo replaced and the later ones in proportion."""
    old = plan.tempo
    factor = us_per_quarter_from_bpm(tempo_bpm) / int(old.us_per_quarter[0])
    per_quarter = np.clip(np.rint(old.us_per_quarter * factor), 1, 2**24 - 1).astype(np.int64)
    tempo = TempoMap(old.ticks_per_quarter, old.at_tick.copy(), per_quarter)
    at_us = np.rint(tempo.us_at_quarter(old.quarter_at(plan.at_us))).astype(np.int64)
    return replace(plan, tempo=tempo, at_us=at_us)
