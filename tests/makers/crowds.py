"""Crowds of simulated takes to judge an aligner by: who plays, what, and what may be expected.

Inside: `Crowd`, `CROWDS`, `takes_of`, `judge`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from heeltap.analysis.align import align
from heeltap.model.plan import Plan
from tests.makers.players import (
    FIGURES,
    Leap,
    Player,
    SimulatedTake,
    full_range_player,
    make_part,
    ordinary_player,
    play_part,
    worst_player,
)
from tests.makers.tallies import Tally

__all__ = ["CROWDS", "Crowd", "judge", "takes_of"]


@dataclass(frozen=True, slots=True)
class Crowd:
    """Takes of one kind."""

    name: str
    player: Callable[[np.random.Generator], Player]
    part: dict[str, Any] = field(default_factory=dict)
    """More for `make_part`."""
    calibrated: bool = False
    """Whether the aligner is told the delay."""
    tempo_bpm: tuple[float, float] = (50.0, 200.0)


def _lost(rng: np.random.Generator) -> Player:
    """An ordinary player who loses the click once, for two or four bars or for good."""
    kind = str(rng.choice(["bar", "late", "early", "turned", "rushed"]))
    bars = 0 if kind == "bar" else int(rng.choice([0, 2, 4]))
    return replace(ordinary_player(rng), leaps=(Leap(kind, int(rng.integers(4, 13)), bars),))


CROWDS = (
    Crowd("ordinary", ordinary_player),
    Crowd("full range", full_range_player),
    Crowd("worst corner", worst_player),
    Crowd("worst, to 120 bpm", worst_player, tempo_bpm=(50.0, 120.0)),
    Crowd("any key, calibrated", ordinary_player, {"any_key": True}, calibrated=True),
    Crowd("lost and found", _lost),
    Crowd("one key", ordinary_player, {"one_key": True}),
)


def takes_of(crowd: Crowd, rng: np.random.Generator, count: int) -> Iterator[tuple[Plan, SimulatedTake]]:
    """Parts of 16 bars of every figure in turn, at any tempo of the crowd, and a take of each."""
    for row in range(count):
        tempo = float(rng.uniform(*crowd.tempo_bpm))
        part = make_part(rng, FIGURES[row % len(FIGURES)], tempo_bpm=tempo, **crowd.part)
        yield part, play_part(rng, part, crowd.player(rng))


def judge(crowd: Crowd, rng: np.random.Generator, count: int) -> tuple[Tally, list[float]]:
    """What `align` makes of so many takes of the crowd, and the F1 of each."""
    tally, each = Tally(), []
    for part, take in takes_of(crowd, rng, count):
        delay = take.delay_ms if crowd.calibrated else None
        found = align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch, delay_ms=delay)
        each.append(tally.add(take, found, part.at_us))
    return tally, each
