"""Plans for drills, written as counting text, and the notes of a player whose offsets are known."""

from collections.abc import Sequence

import numpy as np

from heeltap.model.arrays import as_ints
from heeltap.model.counting import bar_ticks, parse_counting
from heeltap.model.plan import ANY_PITCH, Plan, Section
from heeltap.model.plan_from import swing_ticks
from heeltap.model.timeline import Metre, steady_metre, steady_tempo
from heeltap.session.session import Note

__all__ = ["counted_plan", "played"]


def counted_plan(
    bars: Sequence[str],
    *,
    bpm: float = 120.0,
    metre: Metre = Metre(4, 4),  # noqa: B008 - frozen
    pitches: Sequence[int] = (ANY_PITCH,),
    sections: Sequence[Section] = (),
    swing_ratio: float = 1.0,
) -> Plan:
    """A plan of one voice; each bar is counting text such as ``1 2& 3 4``."""
    ticks = [
        number * bar_ticks(metre) + (at if swing_ratio == 1 else swing_ticks(at, swing_ratio))
        for number, text in enumerate(bars)
        for at in parse_counting(text, metre).at_tick
    ]
    tempo = steady_tempo(bpm)
    rows = as_ints(tick for tick in ticks for _ in pitches)
    blank = np.zeros(rows.size, np.int64)
    return Plan(
        name="counted",
        at_tick=rows,
        at_us=tempo.us_at(rows),
        pitch=as_ints(pitch for _ in ticks for pitch in pitches),
        velocity=blank.copy(),
        hand=blank.copy(),
        kind=blank.copy(),
        stroke=as_ints(index for index, _ in enumerate(ticks) for _ in pitches),
        tempo=tempo,
        metre=steady_metre(metre.count, metre.unit),
        sections=tuple(sections),
        bars=len(bars),
        swing_ratio=swing_ratio,
    )


def played(plan: Plan, offset_ms: Sequence[float | None], *, pitch: int = 60) -> list[Note]:
    """One note a stroke at the given offsets, None for a stroke left out."""
    first = [int(np.flatnonzero(plan.stroke == stroke)[0]) for stroke in range(int(plan.stroke[-1]) + 1)]
    return [
        Note(int(plan.at_us[row]) + round(offset * 1000), int(plan.pitch[row]) if plan.pitch[row] >= 0 else pitch, 80)
        for row, offset in zip(first, offset_ms, strict=True)
        if offset is not None
    ]
