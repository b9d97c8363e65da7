"""Classes of simulated students whose weaknesses are known: their takes are kept and handed in as real ones are.

A student's stroke scatters by 8 to 12 ms (white, AR(1) or slow wander) around a place of their own; one or two strokes in
a hundred are left out; the delay of the gear is measured for two in three. On top of that lies at most one weakness.

Inside: `CLASS_SET`, `PLANTED`, `Pupil`, `pupils`, `write_set`, `keep_raw`, `hand_in_all`, `journal_bytes`,
`SMALL_SET`, `small_class`.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.app.practice.handin import HandedIn, hand_in
from heeltap.app.practice.sets import open_set
from heeltap.app.takes.finish_take import finish_take
from heeltap.devices.fake import script_from_notes
from heeltap.files.takes.folder import open_take
from heeltap.files.takes.journal import FORMAT
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.files.toml.exercises import exercise_to_toml
from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.exercise import Exercise
from heeltap.model.notes import make_notes
from heeltap.model.plan import KINDS, Plan
from heeltap.model.plan_from import plan_of
from heeltap.units import TICKS_PER_QUARTER
from tests.makers.players import stroke_noise

__all__ = [
    "CLASS_SET",
    "PLANTED",
    "SMALL_SET",
    "Pupil",
    "hand_in_all",
    "journal_bytes",
    "keep_raw",
    "pupils",
    "small_class",
    "write_set",
]

CLASS_SET = """\
format = "heeltap.set/1"
title = "Week five"
for = "the Thursday group"
pocket_ms = 30
takes = 2
done = { in_pocket_percent = 70, takes = 2 }

[[item]]
family = "anchor"
grade = 3
bars = 24
tempo_bpm = 84

[[item]]
family = "split"
grade = 2
bars = 24
tempo_bpm = 72

[[item]]
exercise = "sections.toml"

[[item]]
family = "turn"
grade = 9
bars = 32
"""
"""Beats, divisions, changes without a fill, fills of two bars (in a fill of one bar before every change, rushing fills and
running into changes are the same strokes)."""

SMALL_SET = """\
format = "heeltap.set/1"
title = "Two beats"
pocket_ms = 40
takes = 1
done = { in_pocket_percent = 70 }

[[item]]
family = "anchor"
grade = 3
bars = 10
tempo_bpm = [100, 110]
"""
"""One exercise at two tempi: quick to play and to score."""

_SECTIONS = """\
format = "heeltap.exercise/1"
title = "Three parts"
metre = "4/4"
tempo_bpm = 88
[[section]]
name = "verse"
bars = ["1 2& 3 4&", {eight}]
[[section]]
name = "chorus"
bars = [{eight}]
[[section]]
name = "bridge"
bars = [{eight}]
[[section]]
name = "last chorus"
bars = [{eight}]
"""

PLANTED = {
    "off-beats": ("off-beats", True),
    "changes": ("into-change", True),
    "two": ("beat", True),
    "scatter": ("scatter-off-beats", False),
    "fills": ("fills", True),
}
"""Code and direction (True is early) by which a weakness has to be named."""


@dataclass(frozen=True, slots=True)
class Pupil:
    """One student and the truth about them."""

    name: str
    weakness: str = ""
    """A key of `PLANTED`, or nothing."""
    spread_ms: float = 10.0
    noise: str = "white"
    away_ms: float = 0.0
    """Place of their own, against the click."""
    delay_ms: float | None = 0.0
    """Of the gear, as calibrated; None is not known."""
    missing: float = 0.01
    share: float = 1.0
    """How much of the weakness there is."""


_FIRST = ("Ilka", "Bram", "Tove", "Mirel", "Odo", "Sanna", "Jorun", "Pelle", "Wanda", "Rufin")
_LAST = ("Quast", "Vennel", "Orlop")


def pupils(rng: np.random.Generator, weaknesses: Sequence[str], *, share: float = 1.0) -> list[Pupil]:
    """One student for each weakness (empty: none), everything else drawn."""
    found = []
    for number, weakness in enumerate(weaknesses):
        known = number % 3 != 0
        found.append(
            Pupil(
                name=f"{_FIRST[number % 10]} {_LAST[number // 10 % 3]}",
                weakness=weakness,
                spread_ms=float(rng.uniform(8, 12)),
                noise=str(rng.choice(["white", "ar", "wander"])),
                away_ms=0.0 if known else float(rng.uniform(-40, 60)),
                delay_ms=12.0 if known else None,
                missing=float(rng.uniform(0, 0.02)),
                share=share,
            )
        )
    return found


def write_set(folder: Path) -> Path:
    """The set's file, with the exercise that it names."""
    eight = ", ".join(['"1& 2& 3& 4&"'] * 8)
    text = _SECTIONS.replace("{eight}", eight)
    (folder / "sections.toml").write_text(text, encoding="utf-8")
    path = folder / "week-five.toml"
    path.write_text(CLASS_SET, encoding="utf-8")
    return path


def offsets_of(rng: np.random.Generator, plan: Plan, pupil: Pupil) -> FloatArray:
    """Offset of every planned note, ms."""
    strokes = int(plan.stroke[-1]) + 1
    noise = (pupil.spread_ms * stroke_noise(rng, strokes, pupil.noise))[plan.stroke]
    off_beat = plan.at_tick % TICKS_PER_QUARTER != 0
    bar, beat = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)
    ms = np.full(len(plan), pupil.away_ms)
    if pupil.weakness == "off-beats":
        ms = ms - 20.0 * pupil.share * off_beat
    elif pupil.weakness == "two":
        ms = ms - 20.0 * pupil.share * (np.abs(beat - 2) < 1e-6)
    elif pupil.weakness == "fills":
        ms = ms - 25.0 * pupil.share * (plan.kind == KINDS.index("fill"))
    elif pupil.weakness == "scatter":
        # At full share 2.1 times the scatter in all.
        more = 1.9 * pupil.share * pupil.spread_ms * rng.standard_normal(strokes)[plan.stroke]
        noise = np.where(off_beat, noise + more, noise)
    elif pupil.weakness == "changes":
        last = {section.last_bar for section in plan.sections[:-1]}
        ms = ms - 40.0 * pupil.share * np.where(np.isin(bar, list(last)), (beat - 0.5) / 4, 0.0)
    return ms + noise


def journal_bytes(plan: Plan, offset_ms: FloatArray, *, port: str = "Pad", zero_ns: int = 5_000_000_000) -> bytes:
    """The journal that an engine would have written; nan is a note that was not played."""
    rows = np.flatnonzero(~np.isnan(offset_ms))
    at_us = plan.at_us[rows] + np.rint(1000 * offset_ms[rows]).astype(np.int64)
    order = np.argsort(at_us, kind="stable")
    pitch = np.where(plan.pitch < 0, 38, plan.pitch)[rows][order]
    notes = make_notes(at_us[order], as_ints(pitch), np.full(rows.size, 90), duration_us=np.full(rows.size, 40_000))
    script = script_from_notes(notes)
    lines = [{"format": FORMAT, "ports": [port], "zero_ns": zero_ns, "t0": zero_ns / 1e9}]
    before = None
    for at, data in zip(script.due_us.tolist(), script.messages, strict=True):
        at_ns = zero_ns + 1000 * at
        delta = 0.0 if before is None else (at_ns - before) / 1e9
        lines.append({"t": at_ns / 1e9, "bytes": list(data), "dt": delta, "t_ns": at_ns, "port": port})
        before = at_ns
    return "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in [*lines, {"end": True}]).encode()


def keep_raw(root: Path, exercise: Exercise, offset_ms: FloatArray, **more: object) -> Path:
    """Keep a take of an exercise as a drill does: from its journal."""
    plan = plan_of(exercise)
    context = Context(
        heeltap="0",
        name=exercise.name,
        title=exercise.title,
        exercise=exercise_to_toml(exercise),
        plan=plan_out(plan),
        lean_ms=exercise.pocket.lean.fixed_ms or 0.0,
        pocket_ms=exercise.pocket.half_width_ms,
        in_port="Pad",
        **{"date": "2026-03-02T18:00:00+01:00", "delay_ms": 0.0, "count_in_us": 3_000_000, **more},
    )
    take = open_take(root, context)
    take.journal.write_bytes(journal_bytes(plan, offset_ms))
    return finish_take(take, context, ending="played")


def practise_set(rng: np.random.Generator, pupil: Pupil, works: Sequence[Exercise], root: Path, takes: int = 2) -> None:
    """Keep so many takes of every exercise by one student."""
    for number in range(takes):
        for place, exercise in enumerate(works):
            plan = plan_of(exercise)
            played = rng.random(len(plan)) >= pupil.missing
            ms = offsets_of(rng, plan, pupil) + (pupil.delay_ms or 0.0)
            keep_raw(
                root,
                exercise,
                np.where(played, ms, np.nan),
                date=f"2026-03-{2 + number:02d}T18:{place:02d}:00+01:00",
                delay_ms=pupil.delay_ms,
            )


def hand_in_all(
    rng: np.random.Generator, folder: Path, who: Sequence[Pupil], set_path: Path, *, takes: int = 2
) -> list[HandedIn]:
    """Let every student play the whole set and hand it in; the files lie in ``folder``."""
    works = [work.item.exercise for work in open_set(set_path).works if work.item.exercise is not None]
    done = []
    for number, pupil in enumerate(who):
        root = folder / ".homes" / f"{number}"
        practise_set(rng, pupil, works, root, takes)
        done.append(hand_in(set_path, name=pupil.name, out=folder / f"{number:02d}.handin", takes=root))
    return done


def small_class(folder: Path, rng: np.random.Generator, names: Sequence[str] = ("Tove", "Odo")) -> Path:
    """A folder with the hand-ins of a few students, one take each at 100 bpm, and `SMALL_SET` beside them."""
    path = folder / "two-beats.toml"
    path.write_text(SMALL_SET, encoding="utf-8")
    exercise = open_set(path).works[0].item.exercise
    assert exercise is not None
    for number, name in enumerate(names):
        root = folder / ".homes" / str(number)
        keep_raw(root, exercise, rng.normal(0, 9, len(plan_of(exercise))))
        hand_in(path, name=name, out=folder / f"{number}.handin", takes=root)
    return path
