"""Simulated learners whose playing gets better by practice: what advice is tried on.

How they play (a model of ours, kept apart from the rules of the advice)
------------------------------------------------------------------------
A click sounds on every beat, so a stroke scatters by ``sqrt(motor^2 + (weber * beat)^2)`` ms however rarely one is
played, half as much again between the beats, times ``exp(0.45 * strain)``, where strain is how far the exercise's
difficulty lies above the learner's skill in its family. From 96 bpm down the scatter grows no more: the learner counts
eighths there. A weakness adds a lean to the strokes that it
concerns: off-beats or fills come early, less and less the more the family that trains them is practised. Some strokes
are left out when the strain is high.

How they learn
--------------
A take adds to the skill of its family, most where about 85 of 100 strokes are in the pocket, and a third of it to the
other families. Overnight three tenths of the day's gain is lost. A learner may have a ceiling.

Inside: `Learner`, `LEARNERS`, `Practice`, `practise`.
"""

import functools
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from heeltap.analysis.analyse import Aim, Source, result_of
from heeltap.analysis.offsets_of import judge_plan
from heeltap.analysis.past_take import past_of
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.course.difficulty import difficulty
from heeltap.course.next_exercise import NextStep
from heeltap.model.arrays import FloatArray
from heeltap.model.notes import make_notes
from heeltap.model.past_take import PastTake
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.model.result import Calibration, Reference, Result
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["LEARNERS", "Learner", "Practice", "practise"]

_FAMILIES = ("anchor", "split", "turn")


@dataclass(frozen=True, slots=True)
class Learner:
    """Somebody who practises."""

    name: str
    skill: float
    """Difficulty that is played with about 85 of 100 strokes in the pocket, at the start, in every family."""
    gain: float
    """Skill that the best take adds."""
    ceiling: float = 99.0
    """Skill beyond which nothing is added."""
    weak: str = ""
    """``off-beats``, ``fills`` or nothing."""
    rush_ms: float = 0.0
    """How early the weak strokes come at the start."""
    motor_ms: float = 5.5
    weber: float = 0.0255


LEARNERS = {
    learner.name: learner
    for learner in (
        Learner("fast", skill=2.4, gain=0.06),
        Learner("slow", skill=1.2, gain=0.025),
        Learner("plateau", skill=1.4, gain=0.06, ceiling=2.6),
        Learner("off-beat weakness", skill=2.2, gain=0.05, weak="off-beats", rush_ms=22.0),
        Learner("fill weakness", skill=2.2, gain=0.05, weak="fills", rush_ms=28.0),
    )
}
"""One of each kind that practice has to suit."""


@dataclass(slots=True)
class Practice:
    """What became of a learner."""

    takes: list[PastTake] = field(default_factory=list)
    steps: list[NextStep] = field(default_factory=list)
    """What was advised, one a take."""
    rests: int = 0
    """Times that rest was advised."""
    session_of: list[int] = field(default_factory=list)
    """Number of the session of each take, from 0."""
    skill: dict[str, float] = field(default_factory=dict)
    """At the end, by family."""

    def shares(self, first: int = 0) -> FloatArray:
        """Share held of each take from a session on."""
        rows = zip(self.takes, self.session_of, strict=True)
        return np.array([take.held or 0.0 for take, session in rows if session >= first])


def practise(
    learner: Learner,
    advise: Callable[[list[PastTake], datetime], NextStep],
    rng: np.random.Generator,
    *,
    sessions: int,
    minutes: float = 12.0,
) -> Practice:
    """Let a learner follow the advice, one session a day at about six in the evening."""
    done = Practice(skill=dict.fromkeys(_FAMILIES, learner.skill))
    trained = dict.fromkeys(_FAMILIES, 0.0)
    for session in range(sessions):
        now = datetime.fromisoformat("2026-03-01T18:00:00+01:00") + timedelta(days=session, minutes=rng.uniform(0, 40))
        morning, played_s = dict(done.skill), 0.0
        while played_s < 60 * minutes:
            step = advise(done.takes, now)
            if step.action == "rest":
                done.rests += 1
                now += timedelta(minutes=6)
                continue
            take = _play(learner, step, done.skill, trained, now, rng)
            done.takes.append(take)
            done.steps.append(step)
            done.session_of.append(session)
            _learn(learner, take, done.skill, trained)
            played_s += take.length_s
            now += timedelta(seconds=take.length_s + 20)
        for name in _FAMILIES:
            done.skill[name] -= 0.3 * (done.skill[name] - morning[name])
    return done


def _learn(learner: Learner, take: PastTake, skill: dict[str, float], trained: dict[str, float]) -> None:
    """What one take teaches."""
    worth = float(np.exp(-((((take.held or 0.0) - 0.85) / 0.15) ** 2)))
    trained[take.family] += worth
    for name in skill:
        share = 1.0 if name == take.family else 1 / 3
        skill[name] = max(skill[name], min(skill[name] + learner.gain * worth * share, learner.ceiling))


@functools.lru_cache(maxsize=4096)
def _material(family: str, grade: int, tempo_bpm: float, seed: int) -> tuple[Plan, float, float]:
    """Plan, difficulty and length in seconds."""
    exercise = make_exercise(family, grade, tempo_bpm=tempo_bpm, seed=seed)
    length_s = len(exercise.bars) * exercise.metre.bar_quarters * 60 / tempo_bpm
    return plan_of(exercise), difficulty(exercise).total, length_s


def _play(
    learner: Learner,
    step: NextStep,
    skill: dict[str, float],
    trained: dict[str, float],
    now: datetime,
    rng: np.random.Generator,
) -> PastTake:
    """One take as the history remembers it, its figures and findings made by the real judging."""
    plan, hard, length_s = _material(step.family, step.grade, step.tempo_bpm, step.seed)
    result = _judged(plan, *_offsets(learner, plan, hard - skill[step.family], trained, rng))
    return past_of(
        result,
        folder=now.isoformat(),
        date=now.isoformat(timespec="seconds"),
        exercise=plan.name,
        family=step.family,
        grade=step.grade,
        seed=step.seed,
        tempo_bpm=step.tempo_bpm,
        length_s=length_s,
    )


def _offsets(
    learner: Learner, plan: Plan, strain: float, trained: dict[str, float], rng: np.random.Generator
) -> tuple[FloatArray, np.ndarray]:
    """Offset in ms of each note, and whether it was played."""
    at_us, stroke = np.unique(plan.at_us, return_inverse=True)
    first = np.searchsorted(plan.at_us, at_us)
    beat_ms = np.minimum(plan.tempo.us_per_quarter_at(at_us.astype(np.float64)) / 1000, 625.0)
    between = np.where(plan.at_tick[first] % TICKS_PER_QUARTER != 0, 1.5, 1.0)
    spread = np.hypot(learner.motor_ms, learner.weber * beat_ms) * between * np.exp(0.45 * max(strain, -2.5))
    weak = np.zeros(at_us.size)
    if learner.weak == "off-beats":
        left = np.exp(-trained["split"] / 60)
        weak = np.where(plan.at_tick[first] % TICKS_PER_QUARTER != 0, -learner.rush_ms * left, 0.0)
    elif learner.weak == "fills":
        left = np.exp(-trained["turn"] / 60)
        weak = np.where(plan.kind[first] > 0, -learner.rush_ms * left, 0.0)
    played = rng.random(at_us.size) >= min(0.3, 0.01 * np.exp(strain))
    return (rng.normal(0.0, spread) + weak)[stroke], played[stroke]


def _judged(plan: Plan, offset_ms: FloatArray, played: np.ndarray) -> Result:
    """The Result of these offsets; which note was meant is known, so nothing is aligned."""
    rows = np.flatnonzero(played)
    at = plan.at_us[rows] + np.round(1000 * offset_ms[rows]).astype(np.int64)
    order = np.argsort(at, kind="stable")
    pitch = np.maximum(plan.pitch[rows], 0)[order]
    notes = make_notes(at[order], pitch, np.full(rows.size, 80), duration_us=np.full(rows.size, 50_000))
    match = np.full(len(plan), -1, np.int64)
    match[rows[order]] = np.arange(rows.size)
    judged = judge_plan(plan, notes, match, np.ones(len(plan)))
    source = Source(
        "take", "pads", Reference("clock", "the click"), Calibration(True, 0.0, 0.0, "given"), None, plan.metre
    )
    return result_of(judged, source, Aim())


def without(learner: Learner) -> Learner:
    """The same learner without a weakness."""
    return replace(learner, weak="", rush_ms=0.0)
