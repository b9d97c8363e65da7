"""Findings that are tested by themselves, outside the list: chords, accents, a take too even; and the row `nothing`.

Ours, where no source is named.

Inside: `OTHER_KINDS`, `NOTHING`, `nothing`, `too_even`, `other_findings`.
"""

from collections.abc import Collection

import numpy as np

from heeltap.analysis.findings.contrasts import MIN_CLASS, FindingKind
from heeltap.analysis.statistics.estimates import bias
from heeltap.model.offsets import Offsets
from heeltap.model.result import Finding

__all__ = ["MIN_TAKE", "NOTHING", "OTHER_KINDS", "nothing", "other_findings", "too_even"]

MIN_TAKE = 32
"""Fewest strokes about which anything is said."""

ALPHA_OTHER = 0.002
"""Error that chord spread and missing accents may spend, each half; with the list's own error below 5 %."""

_EVEN_MS = 1.0
_CHORD_MS = 30.0
_ACCENT_STEP = 4.0
"""Velocity steps by which an accent must at least stand out (ours)."""

_CHORD_SPREAD = FindingKind(
    code="chord-spread",
    asks="notes of a chord that lie more than 30 ms apart on average",
    less="",
    more="The notes of your chords lie {size} apart on average; a listener hears a broken chord from 30 ms on.",
    class_words=("", "chords spread apart"),
    advice="chords",
    measure="other",
)

_ACCENTS_MISSING = FindingKind(
    code="accents-missing",
    asks="the beats that should carry an accent are not louder; asked only when the accents are known",
    less="You leave out accents: {what} should be louder and are not.",
    more="You leave out accents: {what} should be louder and are not.",
    class_words=("accents left out", "accents left out"),
    advice="dynamics",
    measure="other",
)

_TOO_EVEN = FindingKind(
    code="too-even",
    asks="a spread below 1 ms over 32 strokes or more: no hand does that",
    less="",
    more="Your strokes spread by only {size}. No hand plays that evenly: a program made these notes or moved them.",
    class_words=("", ""),
    advice="raw-take",
    measure="other",
)

_NOTHING = FindingKind(
    code="nothing",
    asks="nothing in the list holds",
    less="",
    more="Nothing stands out that heeltap can be sure of.",
    class_words=("", ""),
    advice="next",
    measure="other",
)

OTHER_KINDS: tuple[FindingKind, ...] = (_CHORD_SPREAD, _ACCENTS_MISSING, _TOO_EVEN, _NOTHING)
"""Rows whose sentences are complete."""

NOTHING = _NOTHING.code
"""Code of the row that stands alone when there is nothing to say."""


def nothing(why: str = "") -> Finding:
    """The row that says that nothing holds.

    Parameters
    ----------
    why : str
        Reason, where there is one.

    Returns
    -------
    Finding
    """
    return Finding(NOTHING, _NOTHING.more + (f" ({why})" if why else ""), 0.0, None, None)


def too_even(table: Offsets) -> Finding | None:
    """The row about a spread that no hand has, or None; nothing else is said about such a take.

    Parameters
    ----------
    table : Offsets

    Returns
    -------
    Finding or None
        Its size is the standard deviation in ms.
    """
    size = float(np.std(table.offset_ms))
    if size >= _EVEN_MS:
        return None
    return Finding(_TOO_EVEN.code, _TOO_EVEN.more.format(size=f"{size:.1f} ms"), size, None, None)


def other_findings(table: Offsets, accent_beats: Collection[float]) -> list[Finding]:
    """The rows about chords and accents that hold.

    Parameters
    ----------
    table : Offsets
    accent_beats : beats from 1
        Beats that should carry an accent; empty: nothing is said about missing accents.

    Returns
    -------
    list of Finding
    """
    found = (_chords(table), _accents(table, accent_beats))
    return [row for row in found if row is not None]


def _chords(table: Offsets) -> Finding | None:
    """Chords whose notes lie further apart than the ear takes for one."""
    rows = table.spread_ms > 0
    if int(rows.sum()) < MIN_TAKE:
        return None
    found = bias(table.spread_ms[rows])
    if found.ci95 is None or found.value is None or found.value <= _CHORD_MS:
        return None
    # From 1.96 to 3.1 standard errors: one-sided 0.1 %.
    margin = (found.value - found.ci95[0]) * 3.1 / 1.96
    if found.value - margin <= _CHORD_MS:
        return None
    bars = tuple(int(b) for b in np.unique(table.bar[rows & (table.spread_ms > found.value)])[:12])
    text = _CHORD_SPREAD.more.format(size=f"{found.value:.0f} ms")
    return Finding(_CHORD_SPREAD.code, text, found.value, found.ci95, ALPHA_OTHER / 2, bars)


def _accents(table: Offsets, accent_beats: Collection[float]) -> Finding | None:
    """Accents that should be there: said when even the upper end of their interval is below a few steps of
    velocity."""
    rows = np.isin(np.round(table.beat, 3), np.round(list(accent_beats), 3))
    if min(int(rows.sum()), int((~rows).sum())) < MIN_CLASS or float(np.std(table.velocity)) == 0.0:
        return None
    velocity = table.velocity.astype(np.float64)
    error = np.sqrt(velocity[rows].var(ddof=1) / rows.sum() + velocity[~rows].var(ddof=1) / (~rows).sum())
    step = float(velocity[rows].mean() - velocity[~rows].mean())
    if step + 3.1 * error >= _ACCENT_STEP:
        return None
    names = " and ".join(f"{beat:g}" for beat in sorted(accent_beats))
    text = _ACCENTS_MISSING.more.format(what="beats " + names) + f" ({step:+.0f} steps of velocity)"
    return Finding(_ACCENTS_MISSING.code, text, 0.0, None, ALPHA_OTHER / 2)
