"""Silence is silence, and a lost player is found: the aligner's leaps, both ways, with the goals beside the figures.

Run: ``python -m tests.bench.bench_lost [takes a row] [seed]`` (default 100 takes, a fresh seed, printed).

* silence: a player of the shipped exercises, or of one to four bars over and over, drops out for 2-8 bars, or stops for
  good. Counted are strokes answered more than half a beat off, and F1 of the pairs.
* lost: a dropped bar, a beat late or early, the beat turned round, half a beat rushed, each for some bars or for good.
  Counted are F1 of the pairs, and how many of the misses given 0.99 or more are true ones.
"""

import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.align import align
from heeltap.model.arrays import BoolArray, IntArray
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from tests.makers.exercises import GRADES, made
from tests.makers.players import FIGURES, Leap, Player, SimulatedTake, make_part, ordinary_player, play_part
from tests.makers.stops import Silence, loop_of, silent_take, stray_strokes

__all__ = ["LOST", "LostFigures", "lost_takes", "measure", "silent_takes"]

LOST = ("bar", "late", "early", "turned", "rushed")
"""Ways to lose the click."""


@dataclass(slots=True)
class LostFigures:
    """Sums over takes."""

    right: int = 0
    given: int = 0
    there: int = 0
    stray: int = 0
    """Planned notes answered more than half a beat off."""
    takes_astray: int = 0
    sure_misses: int = 0
    true_misses: int = 0

    def add(self, part: Plan, take: SimulatedTake, *, calibrated: bool, silence: bool) -> None:
        """Match one take and count."""
        delay = take.delay_ms if calibrated else None
        found = align(
            part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch, take.notes.velocity, delay,
            plan_stroke=part.stroke,
        )  # fmt: skip
        self.right += int(np.sum(_right(part, take, found.match)))
        self.given += int(np.sum(found.match >= 0))
        self.there += int(np.sum(take.match >= 0))
        if silence:
            stray = stray_strokes(part, take, found.match)
            self.stray += stray
            self.takes_astray += stray > 0
        sure = (found.match < 0) & (found.confidence >= 0.99)
        self.sure_misses += int(sure.sum())
        self.true_misses += int(np.sum(sure & (take.match < 0)))

    def __add__(self, other: "LostFigures") -> "LostFigures":
        return LostFigures(*(getattr(self, name) + getattr(other, name) for name in LostFigures.__slots__))

    @property
    def f1(self) -> float:
        """F1 of the pairs."""
        return 2 * self.right / max(self.given + self.there, 1)

    @property
    def miss_rate(self) -> float:
        """Share of the misses given 0.99 and more that are true ones."""
        return self.true_misses / max(self.sure_misses, 1)


def _right(part: Plan, take: SimulatedTake, match: IntArray) -> BoolArray:
    """Planned notes answered by a note that was meant for their own stroke, whichever finger that was."""
    stroke_of = np.full(len(take.notes) + 1, -1)
    stroke_of[take.match[take.match >= 0]] = part.stroke[take.match >= 0]
    return (match >= 0) & (stroke_of[match] == part.stroke)


def _calm(rng: np.random.Generator) -> Player:
    return replace(ordinary_player(rng), rush_ms=0.0)


def silent_takes(kind: str, rng: np.random.Generator, count: int) -> Iterator[tuple[Plan, SimulatedTake]]:
    """Parts (shipped exercises or loops) and takes with a silence of 2-8 bars, or to the end."""
    for row in range(count):
        if kind.startswith("exercise"):
            family, grade = GRADES[int(rng.integers(len(GRADES)))]
            part = plan_of(made(family, grade, seed=int(rng.integers(1, 1000))))
        else:
            part = loop_of(
                rng, FIGURES[row % len(FIGURES)], bars=int(rng.integers(1, 5)), times=int(rng.integers(5, 9)),
                tempo_bpm=float(rng.uniform(60, 160)),
            )  # fmt: skip
        first = int(rng.integers(2, max(part.bars - 3, 3)))
        bars = part.bars if kind.endswith("stop") else int(rng.integers(2, 9))
        yield part, silent_take(rng, part, _calm(rng), Silence(first, bars))


def lost_takes(kind: str, rng: np.random.Generator, count: int) -> Iterator[tuple[Plan, SimulatedTake]]:
    """Parts of 16 bars and takes with one leap of a kind."""
    for row in range(count):
        part = make_part(rng, FIGURES[row % len(FIGURES)], tempo_bpm=float(rng.uniform(50, 200)))
        bars = 0 if kind == "bar" else int(rng.choice([0, 2, 4]))
        player = replace(ordinary_player(rng), leaps=(Leap(kind, int(rng.integers(4, 13)), bars),))
        yield part, play_part(rng, part, player)


def measure(takes: Iterable[tuple[Plan, SimulatedTake]], *, silence: bool, calibrated: bool) -> LostFigures:
    """Figures of these takes."""
    out = LostFigures()
    for part, take in takes:
        out.add(part, take, calibrated=calibrated, silence=silence)
    return out


def main() -> None:
    """Print everything."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int(np.random.SeedSequence().generate_state(1)[0])
    print(f"seed {seed}, {count} takes a row")
    print("silence            delay     strokes off (goal 0)   takes   F1")
    for kind in ("exercise rest", "exercise stop", "loop rest", "loop stop"):
        for calibrated in (True, False):
            got = measure(silent_takes(kind, np.random.default_rng(seed), count), silence=True, calibrated=calibrated)
            name = "known" if calibrated else "unknown"
            print(f"{kind:18s} {name:8s} {got.stray:8d} of {got.there:6d} {got.takes_astray:10d}   {got.f1:.4f}")
    print("lost               F1 (goal .993)   misses given .99 right (goal .99)")
    every = LostFigures()
    for kind in LOST:
        got = measure(lost_takes(kind, np.random.default_rng(seed), count), silence=False, calibrated=False)
        print(f"{kind:18s} {got.f1:.4f}           {got.miss_rate:.4f} of {got.sure_misses}")
        every += got
    print(f"{'all':18s} {every.f1:.4f}           {every.miss_rate:.4f} of {every.sure_misses}")


if __name__ == "__main__":
    main()
