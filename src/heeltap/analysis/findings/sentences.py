"""Findings in words: the sentence, its certainty, its bars, and how long until the player is back.

Inside: `sentence`, `bars_of`, `back_after`, `bar_list`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.findings.catalogue import kind_of
from heeltap.analysis.findings.contrasts import Question
from heeltap.model.arrays import BoolArray
from heeltap.model.offsets import Offsets

__all__ = ["back_after", "bar_list", "bars_of", "sentence"]

_MOST_BARS = 12
"""No more bars than this are named; those that show it most."""

_LOOK_AHEAD = 4
"""Bars after a change within which coming back is looked for."""


def sentence(
    question: Question, effect: float, ci95: tuple[float, float], bars: Sequence[int], tail: str, within: str = ""
) -> str:
    """The statement with its size, its interval, what is ``within`` that, and its bars."""
    kind = kind_of(question.code)
    words = (kind.less if effect < 0 else kind.more).format(size=_size(abs(effect)), what=question.what)
    low, high = sorted(abs(bound) for bound in ci95)
    lowest = "0" if ci95[0] * ci95[1] <= 0 else _number(low)
    text = f"{words[:-1]} (95 % sure: between {lowest} and {_size(high)}{within})"
    text += tail or "."
    named = bars if 0 < len(bars) <= _MOST_BARS and question.code not in _EVERYWHERE else ()
    return text + (f" Most in {bar_list(named)}." if named else "")


_EVERYWHERE = {
    "bias",
    "drift",
    "section-drift",
    "beat",
    "backbeat",
    "off-beats",
    "division",
    "swing",
    "loudness",
    "hands",
}
"""Kinds that are about all bars: their bars go into the row, not into the sentence."""

_WHOLE = {"bias", "drift", "section-drift", "scatter-grows"}
"""Kinds that are about the take as a whole: no bar shows them more than another."""


def _number(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"


def _size(value: float) -> str:
    return _number(value) + " ms"


def bar_list(bars: Sequence[int]) -> str:
    """Bars in words: ``bar 8``, ``bars 8, 16 and 31-32``."""
    runs: list[list[int]] = []
    for bar in sorted(bars):
        if runs and bar == runs[-1][-1] + 1:
            runs[-1].append(bar)
        else:
            runs.append([bar])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    joined = words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
    return ("bar " if len(bars) == 1 else "bars ") + joined


def bars_of(offsets: Offsets, question: Question, effect: float) -> tuple[int, ...]:
    """The bars that show it most, at most `_MOST_BARS`, in order.

    None for statements about the take as a whole. For an effect of 0 (scatter) those with the largest mean square
    about the take's median.
    """
    if question.code in _WHOLE:
        return ()
    rows = question.rows
    usual = float(np.median(offsets.offset_ms))
    away = offsets.offset_ms - usual
    shown = away * np.sign(effect) if effect else np.abs(away)
    bars, where = np.unique(offsets.bar[rows], return_inverse=True)
    mean = np.bincount(where, shown[rows]) / np.bincount(where)
    most = np.argsort(-mean, kind="stable")[:_MOST_BARS]
    chosen = most[mean[most] > (abs(effect) / 2 if effect else 0.0)]
    return tuple(int(bar) for bar in np.sort(bars[chosen]))


def back_after(offsets: Offsets, effect: float) -> str:
    """How long after the changes the player is back, in words; empty where the table does not say.

    Back: the mean of that bar over all changes is within a third of the effect of the strokes far from any change.
    """
    since = offsets.bars_since_change
    far: BoolArray = (offsets.bars_to_change > 1) & ((since >= _LOOK_AHEAD) | (since < 0))
    if not np.any(far):
        return ""
    usual = float(np.mean(offsets.offset_ms[far]))
    for bars in range(_LOOK_AHEAD):
        rows = since == bars
        if not np.any(rows):
            return ""
        if (float(np.mean(offsets.offset_ms[rows])) - usual) / effect < 1 / 3:
            return ", back in the first bar after it." if bars == 0 else f", back by bar {bars + 1} of the new section."
    return f", and not back within {_LOOK_AHEAD} bars."
