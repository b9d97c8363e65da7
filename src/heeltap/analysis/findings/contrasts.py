"""What a contrast and a kind of finding are, and the parts that the tables of kinds are put together from.

A *contrast* is one regressor, one number for each stroke. For a class of strokes it is 1 inside the class and 0
outside, so its coefficient is the mean of the class minus the mean of the rest, in ms. A *kind* of finding is a row of
`heeltap.analysis.findings.catalogue.FINDING_KINDS`: it makes its contrasts from a take and holds all words about them.

Ours, where no source is named.

Inside: `Contrast`, `FindingKind`, `class_contrast`, `of_class`, `has_enough_strokes`, `clusters`, `place_means`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.offsets import Offsets

__all__ = [
    "FILL",
    "GROOVE",
    "LANDING",
    "MIN_BARS",
    "MIN_CHANGES",
    "MIN_CLASS",
    "WIDE_LEAP",
    "Contrast",
    "FindingKind",
    "after_rest",
    "class_contrast",
    "clusters",
    "has_enough_strokes",
    "of_class",
    "place_means",
]

MIN_CLASS = 8
"""Fewest strokes on each side of a class."""

MIN_BARS = 4
"""Fewest bars on each side of a class."""

MIN_CHANGES = 3
"""Fewest section changes before a finding speaks about them in general."""

WIDE_LEAP = 7
"""Semitones: a fifth, about what a hand reaches without moving on a keyboard (ours, common practice, no source)."""

_LONG_GAP = 1.5
"""Times the usual gap (ours)."""

GROOVE, FILL, LANDING = 0, 1, 2
"""Codes of `heeltap.model.plan.KINDS`."""


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One kind of finding: all that the tests, the sentences, the class page, the advice and the guide need of it."""

    code: str
    """What programs rely on. It says what was tested, not which way it fell: the sign of the size says that."""
    asks: str
    """What is tested, for the guide."""
    less: str
    """Sentence when the size is negative; ``{size}`` is the size without its sign, ``{what}`` names the strokes."""
    more: str
    """Sentence when the size is positive."""
    class_words: tuple[str, str]
    """Three or four words for the table of a class: when the size is negative, when it is positive."""
    advice: str
    """Key of the remedy in `heeltap.course.remedies.REMEDIES`."""
    measure: Literal["place", "spread", "other"]
    """Where strokes sit, how far they stray, or something else that the list does not test."""
    weight: float = 0.0
    """Share of the permitted error, beside the other kinds' (ours: what matters most to a player gets most)."""
    contrasts: "Callable[[FindingKind, Offsets], Iterator[Contrast]] | None" = None
    """Makes the contrasts of a take, none where it has too few strokes for them. None: tested in another way."""
    once: bool = False
    """Its contrasts are forms of one fault, so no more than one of them is told."""
    metrical: bool = False
    """About places in the bar. All other kinds are tested with the mean of every place in the bar taken out first, so
    that a habit of the player's (a late four, say) is not mistaken for what happens to fall on it."""
    local: bool = False
    """About strokes all over the take, so it must hold away from the section changes, too."""
    about_changes: bool = False
    """About what happens at section changes; their spread there is not told beside where the strokes sit there, because a
    run that grows looks like a wider spread."""
    asked_swing: bool = False
    """Needs a swing that was asked for."""
    slope: bool = False
    """The size is a change along the take, so its reach is the length of the regressor."""
    bars: Literal["named", "listed", "none"] = "named"
    """``named``: the sentence names the bars that show it most; ``listed``: only the row does, because it is about
    all bars; ``none``: it is about the take as a whole."""
    tail: Callable[[Offsets, float], str] | None = None
    """Adds to the end of the sentence, from the table and the size."""


@dataclass(frozen=True, slots=True, eq=False)
class Contrast:
    """One regressor of one kind of finding in one take."""

    kind: FindingKind
    what: str
    """Names the strokes inside the sentence; empty where the sentence does."""
    regressor: FloatArray
    """One number for each stroke."""
    rows: BoolArray
    """The strokes that the contrast is about, to name their bars."""
    plain: FloatArray | None
    """The plain number that is told is the least-squares slope of the offsets on this column, shape (strokes,): for a
    class the difference of two means. None: what is told is the fitted coefficient itself."""
    share: float = 1.0
    """Part of the kind's weight."""
    sentences: tuple[str, str] = ("", "")
    """Sentences for less and more, where they are not the kind's own."""

    @property
    def weight(self) -> float:
        """Share of the permitted error, beside the other contrasts'."""
        return self.kind.weight * self.share

    @property
    def reach(self) -> float:
        """What the size is multiplied by before it is held against the least that is told: a slope's length, else 1."""
        return float(np.ptp(self.regressor)) if self.kind.slope else 1.0

    @property
    def is_class(self) -> bool:
        """Whether it sets the strokes ``rows`` against others, all of them alike."""
        return bool(np.all((self.regressor == 1.0) == self.rows))


def class_contrast(
    kind: FindingKind, rows: BoolArray, what: str = "", *, against: BoolArray | None = None, share: float = 1.0
) -> Contrast:
    """The contrast of a class of strokes against the rest, or against another class.

    Parameters
    ----------
    kind : FindingKind
    rows : bool, shape (strokes,)
        The class.
    what : str
        Names the class inside the sentence, where the sentence needs it.
    against : bool, shape (strokes,), optional
        What the class is held against; the rest where not given.
    share : float
        Part of the kind's weight.

    Returns
    -------
    Contrast
        Regressor 1 inside the class, 0 outside. In the plain column strokes of neither side get the class's share of
        the two together, which is the column's mean, so that they have no part in the difference.
    """
    there = ~rows if against is None else against
    middle = rows.sum() / max(int(rows.sum() + there.sum()), 1)
    plain = np.where(rows, 1.0, np.where(there, 0.0, middle))
    return Contrast(kind, what, rows.astype(np.float64), rows, plain, share=share)


def of_class(
    choose: Callable[[Offsets], BoolArray], against: Callable[[Offsets], BoolArray] | None = None
) -> Callable[[FindingKind, Offsets], Iterator[Contrast]]:
    """What makes the contrast of one class of strokes: a function of the kind and the take.

    Parameters
    ----------
    choose : function from Offsets to bool, shape (strokes,)
        Chooses the class.
    against : function from Offsets to bool, shape (strokes,), optional
        Chooses what the class is held against; the rest where not given.

    Returns
    -------
    function
        Yields one contrast, or none where a side has too few strokes (`has_enough_strokes`).
    """

    def contrasts(kind: FindingKind, table: Offsets) -> Iterator[Contrast]:
        rows = choose(table)
        if has_enough_strokes(table, rows):
            yield class_contrast(kind, rows, against=against(table) if against else None)

    return contrasts


def has_enough_strokes(table: Offsets, rows: BoolArray) -> bool:
    """Whether both the class ``rows`` and the rest have `MIN_CLASS` strokes in `MIN_BARS` bars.

    Parameters
    ----------
    table : Offsets
    rows : bool, shape (strokes,)

    Returns
    -------
    bool
    """
    return all(int(side.sum()) >= MIN_CLASS and np.unique(table.bar[side]).size >= MIN_BARS for side in (rows, ~rows))


def after_rest(table: Offsets) -> BoolArray:
    """Which strokes follow a gap of more than one and a half times the usual one, shape (strokes,).

    Parameters
    ----------
    table : Offsets

    Returns
    -------
    bool, shape (strokes,)
    """
    return np.asarray(table.rest_ms > _LONG_GAP * np.median(table.rest_ms)) if len(table) else np.zeros(0, np.bool_)


def clusters(table: Offsets) -> IntArray:
    """What the cluster-robust check counts as one: whole sections where there are five or more, else bars.

    Parameters
    ----------
    table : Offsets

    Returns
    -------
    int64, shape (strokes,)
        A label for each stroke.
    """
    whole = np.where(table.section >= 0, table.section, -1)
    return whole if np.unique(whole).size >= 5 else table.bar


def place_means(table: Offsets) -> FloatArray:
    """One column for each place in the bar but the commonest; places with few strokes share one.

    Parameters
    ----------
    table : Offsets

    Returns
    -------
    float64, shape (strokes, places)
        1 at the column's place, 0 elsewhere. Without columns where there are fewer than four strokes a place.
    """
    code = np.unique(np.round(table.beat, 2), return_inverse=True)[1]
    count = np.bincount(code)
    code = np.where(count[code] < MIN_BARS, -1, code)
    kept, count = np.unique(code, return_counts=True)
    kept = np.delete(kept, np.argmax(count))
    if len(table) < 4 * (kept.size + 1):
        kept = kept[:0]
    return np.asarray(code[:, None] == kept[None, :], dtype=np.float64)
