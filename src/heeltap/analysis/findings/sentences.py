"""The sentences of findings: the statement, how sure it is, and the bars that show it most.

Ours, where no source is named.

Inside: `sentence`, `bars_of`, `bar_list`.
"""

from collections.abc import Sequence

import numpy as np

from heeltap.analysis.findings.contrasts import Contrast
from heeltap.model.offsets import Offsets

__all__ = ["bar_list", "bars_of", "sentence"]

_MOST_BARS = 12
"""No more bars than this are named; those that show it most."""


def sentence(
    contrast: Contrast, effect: float, ci95: tuple[float, float], bars: Sequence[int], tail: str, within: str = ""
) -> str:
    """The statement with its size, its interval, what is ``within`` that, and its bars.

    Parameters
    ----------
    contrast : Contrast
    effect : float
        ms; negative takes the sentence for less.
    ci95 : (float, float)
        95 % interval, ms.
    bars : int
        Bars from 1 to name.
    tail : str
        What follows the interval, with its full stop; empty is a full stop.
    within : str
        What the interval contains besides the strokes' own uncertainty, inside its brackets.

    Returns
    -------
    str
        One or two sentences.
    """
    kind = contrast.kind
    less, more = contrast.sentences if any(contrast.sentences) else (kind.less, kind.more)
    number = _per_bar if kind.slope and kind.measure == "place" else _whole
    words = (less if effect < 0 else more).format(size=number(abs(effect)) + " ms", what=contrast.what)
    low, high = sorted(abs(bound) for bound in ci95)
    lowest = "0" if ci95[0] * ci95[1] <= 0 else number(low)
    text = f"{words[:-1]} (95 % sure: between {lowest} and {number(high)} ms{within})"
    text += tail or "."
    named = kind.bars == "named" and 0 < len(bars) <= _MOST_BARS
    return text + (f" Most in {bar_list(bars)}." if named else "")


def _whole(value: float) -> str:
    return f"{value:.0f}"


def _per_bar(value: float) -> str:
    """Milliseconds for each bar: small numbers that add up, so they keep their digits."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"


def bar_list(bars: Sequence[int]) -> str:
    """Bars in words: ``bar 8``, ``bars 8, 16 and 31-32``.

    Parameters
    ----------
    bars : int
        At least one bar from 1, in any order.

    Returns
    -------
    str
    """
    runs: list[list[int]] = []
    for bar in sorted(bars):
        if runs and bar == runs[-1][-1] + 1:
            runs[-1].append(bar)
        else:
            runs.append([bar])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    joined = words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
    return ("bar " if len(bars) == 1 else "bars ") + joined


def bars_of(offsets: Offsets, contrast: Contrast, effect: float) -> tuple[int, ...]:
    """The bars that show it most, at most `_MOST_BARS`, in order.

    Parameters
    ----------
    offsets : Offsets
    contrast : Contrast
    effect : float
        ms; for 0 (a spread) the bars with the largest mean square about the take's median.

    Returns
    -------
    tuple of int
        Bars from 1; none for statements about the take as a whole.
    """
    if contrast.kind.bars == "none":
        return ()
    rows = contrast.rows
    usual = float(np.median(offsets.offset_ms))
    away = offsets.offset_ms - usual
    shown = away * np.sign(effect) if effect else np.abs(away)
    bars, where = np.unique(offsets.bar[rows], return_inverse=True)
    mean = np.bincount(where, shown[rows]) / np.bincount(where)
    most = np.argsort(-mean, kind="stable")[:_MOST_BARS]
    usual_there = abs(effect) * float(contrast.regressor[rows].mean())
    chosen = most[mean[most] > (usual_there / 2 if effect else 0.0)]
    return tuple(int(bar) for bar in np.sort(bars[chosen]))
