"""Small plans built by hand, for tests that need to see every number."""

import numpy as np

from heeltap.model.arrays import as_ints
from heeltap.model.plan import Plan, Section
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["plan_of_quarters"]


def plan_of_quarters(
    quarters: list[float],
    *,
    bpm: float = 120.0,
    pitches: list[int] | None = None,
    sections: tuple[Section, ...] = (),
    bars: int = 0,
) -> Plan:
    """A plan in 4/4 with notes at the given quarter-note positions (sorted; equal positions are one stroke)."""
    tempo, metre = steady_tempo(bpm), steady_metre()
    tick = as_ints(round(q * TICKS_PER_QUARTER) for q in quarters)
    size = tick.size
    stroke = np.unique(tick, return_inverse=True)[1].astype(np.int64)
    last_bar = int(metre.bar_beat(quarters[-1:] or [0.0])[0].max())
    return Plan(
        name="by hand",
        at_tick=tick,
        at_us=tempo.us_at(tick),
        pitch=as_ints(pitches if pitches is not None else [-1] * size),
        velocity=np.zeros(size, np.int64),
        hand=np.zeros(size, np.int64),
        kind=np.zeros(size, np.int64),
        stroke=stroke,
        tempo=tempo,
        metre=metre,
        sections=sections,
        bars=bars or last_bar,
    )
