"""Simulated listeners who answer a staircase: how finely they hear, which way they lean, how often they slip."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from heeltap.analysis.hearing.staircase import next_level_ms
from heeltap.analysis.hearing.threshold import Threshold, threshold_of_choices, threshold_of_sides

__all__ = ["Listener", "listeners", "measured"]


@dataclass(frozen=True)
class Listener:
    """Somebody who hears."""

    spread_ms: float
    """Standard deviation of what is heard about what sounds; the threshold is 0.674 of it."""
    leaning_ms: float = 0.0
    lapse: float = 0.03
    guesses: bool = False

    @property
    def threshold_ms(self) -> float:
        """Right in three of four, without lapses."""
        return 0.6744897501960817 * self.spread_ms

    def says(self, level_ms: float, rng: np.random.Generator) -> bool:
        """Whether they say "late", or choose the tighter one."""
        if self.guesses or rng.random() < self.lapse:
            return bool(rng.integers(2))
        return bool(rng.random() < ndtr((level_ms - self.leaning_ms) / self.spread_ms))


def listeners(rng: np.random.Generator, count: int, *, sides: bool) -> list[Listener]:
    """People whose thresholds lie from 7 to 54 ms."""
    spreads = np.exp(rng.uniform(np.log(10), np.log(80), count))
    leanings = rng.normal(0, 8, count) if sides else np.zeros(count)
    return [Listener(float(one), float(other)) for one, other in zip(spreads, leanings, strict=True)]


def measured(who: Listener, rng: np.random.Generator, *, sides: bool, answers: int = 64) -> Threshold | None:
    """What a whole test finds."""
    levels: list[float] = []
    right: list[bool] = []
    shifts: list[float] = []
    late: list[bool] = []
    for _ in range(answers):
        level = next_level_ms(levels, right)
        side = float(rng.choice([-1, 1])) if sides else 1.0
        said = who.says(side * level, rng)
        levels.append(level)
        shifts.append(side * level)
        late.append(said)
        right.append(said == (side > 0))
    return threshold_of_sides(shifts, late) if sides else threshold_of_choices(levels, right)
