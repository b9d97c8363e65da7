"""Make another drill out of this one: slower, faster, simpler, or what comes next.

Inside: `at_tempo`, `slower`, `faster`, `eighths_offered`, `on_eighths`, `simpler`, `before`, `next_drill`, `for_pads`, `Change`,
`changes_of`.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from heeltap.app.drill.backing import wish_of
from heeltap.app.drill.drill import Drill, as_offered, drill_of, plan_at_tempo, with_backing
from heeltap.app.drill.player_setup import pads_for, with_learned_pads
from heeltap.app.drill.ranges import same_bars
from heeltap.app.drill.run import Settings
from heeltap.app.practice.advise import next_step
from heeltap.errors import PlanError, sentence
from heeltap.files.settings import read_settings
from heeltap.files.toml.exercises import exercise_from_toml, exercise_to_toml
from heeltap.files.toml.families import FAMILIES, read_family
from heeltap.model import tempo_step
from heeltap.model.exercise import ClickPlan, clicks
from heeltap.model.lean import AUTO
from heeltap.model.plan import KINDS, Plan
from heeltap.model.plan_from import plan_of
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import Feedback, State, begin
from heeltap.sound.click import CLICK_SOUNDS, ClickSound
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "Change",
    "at_tempo",
    "before",
    "changes_of",
    "eighths_offered",
    "faster",
    "for_pads",
    "next_drill",
    "on_eighths",
    "simpler",
    "slower",
    "tempo_of",
]

_TEMPI = (20.0, 300.0)


def tempo_of(drill: Drill) -> float:
    """The tempo at the start, quarter notes a minute."""
    return 60e6 / int(drill.plan.tempo.us_per_quarter[0])


def at_tempo(drill: Drill, tempo_bpm: float) -> Drill:
    """The same drill at another tempo, its drummer or song with it.

    Parameters
    ----------
    drill : Drill
        A tempo that changes within it keeps its proportions; bars of a drill stay the same bars.
    tempo_bpm : float
        Quarter notes a minute at its start, 20 to 300.

    Returns
    -------
    Drill

    Raises
    ------
    PlanError
        Another tempo.
    """
    if not _TEMPI[0] <= tempo_bpm <= _TEMPI[1]:
        raise PlanError(sentence("tempo", f"{tempo_bpm:.4g} bpm", f"{_TEMPI[0]:g} to {_TEMPI[1]:g}"))
    if drill.whole is not None:
        return same_bars(drill, at_tempo(drill.whole, tempo_of(drill.whole) * tempo_bpm / tempo_of(drill)))
    if drill.exercise is None:
        return with_backing(replace(drill, plan=plan_at_tempo(drill.plan, tempo_bpm)))
    exercise = replace(exercise_from_toml(drill.exercise), tempo_bpm=tempo_bpm)
    plan = plan_of(exercise)
    auto = exercise.pocket.lean == AUTO and drill.lean_ms == AUTO.ms_in(drill.plan)
    lean_ms = AUTO.ms_in(plan) if auto else drill.lean_ms
    return with_backing(replace(drill, plan=plan, lean_ms=lean_ms, exercise=exercise_to_toml(exercise)))


_SLOW_BPM = 60.0
"""Below so many beats a minute heeltap offers a click on eighths: more than a second between two clicks is hard to keep
without dividing it. Ours."""


@lru_cache(maxsize=4)  # asked with every picture; a drill never changes
def eighths_offered(drill: Drill) -> bool:
    """Whether the beat is so slow that a click on eighths helps, and the drill has a click on every beat or on eighths."""
    beat = drill.plan.metre.metres[0].beat_quarters
    if (
        drill.backing is not None
        or beat <= 0.5
        or tempo_of(drill) / beat >= _SLOW_BPM
        or len(drill.plan.metre.metres) > 1
    ):
        return False
    return _click_of(drill).kind in ("every", "eighths")


def on_eighths(drill: Drill) -> Drill:
    """The drill with a click on every eighth; where it has that, with one on every beat again."""
    if drill.whole is not None:
        return same_bars(drill, on_eighths(drill.whole))
    plan = ClickPlan("every" if _click_of(drill).kind == "eighths" else "eighths")
    if drill.exercise is None:
        clicked = clicks(plan, drill.plan.metre.metres[0], drill.plan.bars)
        return replace(drill, clicked=clicked, heard=plan.kind)
    exercise = replace(exercise_from_toml(drill.exercise), click=plan)
    clicked = clicks(plan, exercise.metre, len(exercise.bars))
    return replace(drill, clicked=clicked, heard=plan.kind, exercise=exercise_to_toml(exercise))


def _click_of(drill: Drill) -> ClickPlan:
    """The click of a drill."""
    whole = drill.whole or drill
    if whole.exercise is not None:
        return exercise_from_toml(whole.exercise).click
    return wish_of(whole.heard or None).plan or ClickPlan()


def slower(drill: Drill) -> Drill:
    """The drill one step slower, at a whole tempo; raises `PlanError` as `at_tempo`."""
    return at_tempo(drill, tempo_step.slower(tempo_of(drill)))


def faster(drill: Drill) -> Drill:
    """The drill one step faster, at a whole tempo; raises `PlanError` as `at_tempo`."""
    return at_tempo(drill, tempo_step.faster(tempo_of(drill), np.inf))


def simpler(drill: Drill) -> Drill:
    """The grade below, at the slower of both tempi.

    Raises `PlanError` where the exercise has no grade below it.
    """
    own = None if drill.exercise is None else exercise_from_toml(drill.exercise)
    names = (
        [] if own is None or own.family not in FAMILIES else [grade.name for grade in read_family(own.family).grades]
    )
    if own is None or own.grade not in names[1:]:
        raise PlanError(sentence("simpler", f"'{drill.title}', which has no grade below it", "a graded exercise"))
    below = drill_of(f"{own.family} {names[names.index(own.grade) - 1]}", seed=drill.seed or 1, sound=drill.sound)
    return at_tempo(below, tempo_of(drill)) if tempo_of(below) > tempo_of(drill) else below


def next_drill(takes: Path, sound: ClickSound = CLICK_SOUNDS["wood"]) -> tuple[Drill | None, str]:
    """What the takes so far ask for, with this sound of the click, and the reason; None where they ask for a rest."""
    step = next_step(takes)
    reason = f"{step.reason[:1].upper()}{step.reason[1:]}."
    if not step.what:
        return None, reason
    drill = drill_of(step.what, tempo_bpm=step.tempo_bpm, seed=None if step.item else step.seed, sound=sound)
    return as_offered(drill), reason


def before(drill: Drill, feedback: Feedback) -> State:
    """The state of a drill before anything is played."""
    columns = columns_of(
        drill.plan,
        title=drill.title,
        lean_ms=drill.lean_ms,
        pocket_ms=drill.pocket_ms,
        count_in_bars=drill.count_in_bars,
        run_in_us=drill.run_in_us,
        bar_numbers=drill.bar_numbers,
    )
    return begin(columns, feedback)


def for_pads(drill: Drill, settings: Settings) -> Drill:
    """The drill on the keys of the learned pads, as a drill that was begun from the command line is."""
    return with_learned_pads(drill, pads_for(read_settings(), settings.in_ports))


@dataclass(frozen=True, slots=True)
class Change:
    """Something that a player must know before it comes."""

    bar: int
    """Where it comes, from 1."""
    what: str
    """``chorus``, ``fill``, ``landing``."""


def changes_of(plan: Plan) -> tuple[Change, ...]:
    """Sections, fills and landings in the order in which they come; where a section begins with a landing, both in one."""
    bars, _ = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)
    starts = {section.first_bar: section.name for section in plan.sections if section.first_bar > 1}
    fills = sorted({int(bar) for bar, kind in zip(bars, plan.kind, strict=True) if kind == KINDS.index("fill")})
    landings = {int(bar) for bar, kind in zip(bars, plan.kind, strict=True) if kind == KINDS.index("landing")}
    found = [Change(bar, "fill") for bar in fills if bar - 1 not in fills]
    for bar in sorted(starts.keys() | landings):
        words = [starts[bar]] if bar in starts else []
        found.append(Change(bar, " ".join([*words, *(["landing"] if bar in landings else [])])))
    return tuple(sorted(found, key=lambda change: change.bar))
