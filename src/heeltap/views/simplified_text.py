"""Simpler forms of a part as text: what each is for, how many strokes it has, and how you count its first bars.

Inside: `simpler_text`.
"""

import textwrap

import numpy as np

from heeltap.app.practice.simplify import SimplerParts
from heeltap.model.counted_bars import counted_plan
from heeltap.safe_text import safe_line
from heeltap.views.counting import counted_lines
from heeltap.wording import count

__all__ = ["simpler_text"]

_BARS_SHOWN = 4
"""Of each form, in the text: enough to see how the part is built."""


def simpler_text(parts: SimplerParts) -> str:
    """What the four forms are for, how many strokes each has, and how you count the first bars."""
    name = f', "{parts.part.name}"' if parts.part.name else ""
    lines = [safe_line(f"{parts.file}{name}: {count(parts.forms[-1].plan.bars, 'bar')}, {parts.how}")]
    if parts.left_out:
        lines.append(f"{count(parts.left_out, 'note')} between the slots (ornaments, slips): heeltap left them out")
    for number, form in enumerate(parts.forms, 1):
        strokes = np.unique(form.plan.at_tick).size
        lines += ["", f"{number} {form.level.title}: {count(strokes, 'stroke')}, {count(len(form.plan), 'note')}"]
        lines += textwrap.wrap(form.level.aim, 79, initial_indent="  ", subsequent_indent="  ")
        if form.same_as_before:
            lines.append("  Here this form has nothing to add: it is the same as the one before.")
            continue
        if form.answered:
            lines.append("  Your part is silent on these beats, so each one takes the stroke that follows it.")
        bars, left = counted_plan(form.plan, most=_BARS_SHOWN)
        lines += ["", *(f"  {line}" for bar in bars for line in counted_lines(bar))]
        if left:
            lines.append(f"  ... {count(left, 'more bar')} of other kinds")
    return "\n".join(lines) + "\n"
