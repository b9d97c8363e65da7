"""Nothing is thrown away: strokes that the result leaves out although they were played, with the goal beside the figure.

Run: ``python -m tests.bench.bench_kept [seeds] [first seed]`` (default 5 from 1).

Every shipped exercise in every metre, played without a fault and with 12 ms of spread, with and without a split; then
chords, as written, in another octave and in another voicing; parts whose notes are all written twice; and any-key takes
in which a finger brushes a neighbouring key.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align import align
from heeltap.model.arrays import IntArray
from heeltap.model.exercise import METRES
from heeltap.model.hands import hand_lines
from heeltap.model.plan import ANY_PITCH, Plan
from heeltap.model.plan_from import plan_of
from tests.makers.exercises import GRADES, made
from tests.makers.players import make_part

__all__ = ["BRUSHES", "LeftOut", "brushed", "exercises", "left_out", "other_voicing", "play"]

SPLIT_KEY = 60
_KEYS = np.array([62, 45, 72])
"""What a player strikes where any key is good: by hand not known, left, right."""

BRUSHES = 0.08
"""Share of the strokes beside which a neighbouring key is brushed."""


@dataclass(slots=True)
class LeftOut:
    """Strokes played, and those of them that no note answers with more certainty than doubt."""

    strokes: int = 0
    out: int = 0

    def __add__(self, other: "LeftOut") -> "LeftOut":
        return LeftOut(self.strokes + other.strokes, self.out + other.out)

    @property
    def share(self) -> float:
        """Left out, per stroke played."""
        return self.out / max(self.strokes, 1)


def exercises(seeds: range) -> Iterator[Plan]:
    """Every family, grade and metre that ships."""
    for family, grade in GRADES:
        for metre in METRES:
            for seed in seeds:
                yield plan_of(made(family, grade, metre, seed))


def play(plan: Plan, rng: np.random.Generator, spread_ms: float) -> tuple[IntArray, IntArray]:
    """Times and keys of a take without a fault but for the spread, in the order of the plan's rows.

    Two notes of one stroke are struck on two keys, as two fingers would.
    """
    noise_us = 1000 * spread_ms * rng.standard_normal(int(plan.stroke[-1]) + 1)[plan.stroke]
    nth = np.arange(len(plan)) - np.searchsorted(plan.stroke, plan.stroke)
    keys = np.where(plan.pitch == ANY_PITCH, _KEYS[plan.hand] + 2 * nth, plan.pitch)
    return plan.at_us + np.rint(noise_us).astype(np.int64), keys


def left_out(plan: Plan, at_us: IntArray, keys: IntArray, split_key: int | None, delay_ms: float | None) -> LeftOut:
    """How many strokes of a faultless take have no note that is more certain than doubtful."""
    order = np.argsort(at_us, kind="stable")
    planned, played = hand_lines(plan, keys[order], split_key)
    found = align(plan.at_us, planned, at_us[order], played, None, delay_ms, plan_stroke=plan.stroke)
    sure = np.unique(plan.stroke[(found.match >= 0) & (found.confidence >= 0.5)])
    strokes = int(plan.stroke[-1]) + 1
    return LeftOut(strokes, strokes - sure.size)


def other_voicing(rng: np.random.Generator, pitch: IntArray, kind: str) -> IntArray:
    """The keys an octave lower, or each in an octave of its own choice."""
    return pitch - 12 if kind == "octave" else pitch + 12 * rng.integers(-1, 2, pitch.size)


def brushed(rng: np.random.Generator, part: Plan) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Times, keys, loudness and planned row (-1) of an any-key take: beside 8 % of the strokes a neighbour is brushed."""
    at_us = part.at_us + np.rint(12_000 * rng.standard_normal(len(part))).astype(np.int64)
    loud = np.clip(part.velocity + rng.integers(-12, 13, len(part)), 1, 127)
    soft = np.flatnonzero(rng.random(len(part)) < BRUSHES)
    more_us = at_us[soft] + np.rint(rng.normal(0, 25_000, soft.size)).astype(np.int64)
    onset = np.concatenate([at_us, more_us])
    keys = np.concatenate([np.full(len(part), 60), np.full(soft.size, 61)])
    velocity = np.concatenate([loud, rng.integers(8, 30, soft.size)])
    order = np.argsort(onset, kind="stable")
    source = np.concatenate([np.arange(len(part)), np.full(soft.size, -1)])
    return onset[order], keys[order], velocity[order], source[order]


def _row(name: str, goal: str, found: LeftOut) -> None:
    print(f"{name:44s} {found.out:6d} of {found.strokes:7d}  {100 * found.share:7.3f} %   goal {goal}")


def main() -> None:
    """Print everything."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    seeds = range(first, first + count)
    rng = np.random.default_rng(first)
    for spread_ms, goal in ((0.0, "0"), (12.0, "0.5 %")):
        for split_key in (None, SPLIT_KEY):
            for delay_ms in (0.0, None):
                total = LeftOut()
                for plan in exercises(seeds):
                    total += left_out(plan, *play(plan, rng, spread_ms), split_key, delay_ms)
                split = "no split" if split_key is None else "split"
                delay = "delay known" if delay_ms is not None else "delay unknown"
                _row(f"exercises, spread {spread_ms:.0f} ms, {split}, {delay}", goal, total)
    for kind in ("as written", "octave", "voicing"):
        total = LeftOut()
        for _ in range(20 * count):
            part = make_part(rng, "chords", tempo_bpm=float(rng.uniform(60, 160)))
            at_us, keys = play(part, rng, 12.0)
            total += left_out(part, at_us, keys if kind == "as written" else other_voicing(rng, keys, kind), None, 0.0)
        _row(f"chords, {kind}", "0.5 %", total)
    right = given = there = 0
    for _ in range(20 * count):
        part = make_part(rng, "pads", tempo_bpm=float(rng.uniform(60, 160)), any_key=True)
        at_us, keys, velocity, source = brushed(rng, part)
        match = align(part.at_us, part.pitch, at_us, keys, velocity, 0.0).match
        right += int(np.sum((match >= 0) & (source[match] == np.arange(len(part)))))
        given, there = given + int(np.sum(match >= 0)), there + len(part)
    print(f"{'any key, neighbours brushed: F1':44s} {2 * right / (given + there):.4f}   goal .9987")


if __name__ == "__main__":
    main()
