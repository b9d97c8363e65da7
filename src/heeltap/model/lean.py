"""Where a player aims: so many milliseconds beside the beat, or what suits the tempo.

Conventions: milliseconds; positive is behind the beat, negative is ahead of it. Who says nothing about the lean has no
`Lean` at all (None): what an exercise or a kept take asks for then holds.

Inside: `Lean`, `AUTO`, `ON_THE_BEAT`.
"""

from dataclasses import dataclass

from heeltap.model.plan import Plan
from heeltap.units import auto_lean_ms

__all__ = ["AUTO", "ON_THE_BEAT", "Lean"]


@dataclass(frozen=True, slots=True)
class Lean:
    """The offset that a player aims at."""

    fixed_ms: float | None = 0.0
    """Milliseconds, positive is behind the beat; None is auto, which follows the tempo."""

    @property
    def written(self) -> float | str:
        """The lean as files write it: its milliseconds, or ``auto``."""
        return "auto" if self.fixed_ms is None else self.fixed_ms

    def ms_at(self, beat_ms: float) -> float:
        """The offset to aim at, in ms, where a beat is so long.

        Parameters
        ----------
        beat_ms : float
            Length of a beat, ms. Only auto asks for it.

        Returns
        -------
        float
            Auto is `heeltap.units.auto_lean_ms`.
        """
        return auto_lean_ms(beat_ms) if self.fixed_ms is None else float(self.fixed_ms)

    def ms_in(self, plan: Plan) -> float:
        """The offset to aim at, in ms, all through a plan: auto takes the plan's slowest beat.

        Parameters
        ----------
        plan : Plan
            What is to be played.

        Returns
        -------
        float
        """
        slowest_us = int(plan.tempo.us_per_quarter.max()) * plan.metre.metres[0].beat_quarters
        return self.ms_at(slowest_us / 1000)


AUTO = Lean(None)
"""4 % of the beat, 10 to 30 ms."""

ON_THE_BEAT = Lean(0.0)
"""What a player aims at unless somebody asks for another lean."""
