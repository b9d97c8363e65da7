"""What heeltap leaves out of the judgement: stretches without input, beats with a late click, all after an early end.

Inside: `leave_out`.
"""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from heeltap.files.takes.metadata import LeftOut
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan, Section

__all__ = ["leave_out"]


def leave_out(
    notes: Notes, plan: Plan, spans: Iterable[LeftOut], judged_to_us: int | None = None
) -> tuple[Notes, Plan]:
    """The notes and the plan without the strokes in some spans, and without everything after an early end.

    A note goes with the planned stroke that it is nearest to, so nothing that was meant for a stroke left out becomes
    an extra. A plan that loses its end loses its bars and sections, too.
    """
    cut = np.zeros(len(plan), dtype=np.bool_)
    for span in spans:
        cut |= (plan.at_us >= span.from_us) & (plan.at_us <= span.to_us)
    if judged_to_us is not None:
        cut |= plan.at_us > judged_to_us
    if not cut.any():
        return notes, plan
    middle = (plan.at_us[1:] + plan.at_us[:-1]) / 2
    kept = notes.pick(~cut[np.searchsorted(middle, notes.onset_us, side="right")])
    rows = ~cut
    stroke = np.unique(plan.stroke[rows], return_inverse=True)[1].astype(np.int64)
    columns = {name: getattr(plan, name)[rows] for name in ("at_tick", "at_us", "pitch", "velocity", "hand", "kind")}
    bars = plan.bars if judged_to_us is None else _bars_until(plan, judged_to_us)
    sections = tuple(
        Section(section.name, section.first_bar, min(section.last_bar, bars))
        for section in plan.sections
        if section.first_bar <= bars
    )
    return kept, replace(plan, **columns, stroke=stroke, bars=bars, sections=sections)


def _bars_until(plan: Plan, until_us: int) -> int:
    """Bars that have begun by a time, at least one."""
    return min(max(int(plan.metre.bar_beat(plan.tempo.quarter_at(until_us))[0]), 1), plan.bars)
