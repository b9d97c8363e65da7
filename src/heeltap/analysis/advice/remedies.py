"""Which exercise helps against which kind of finding: one table that advice on a song and on a course both read.

Which exercise helps is ours.

Inside: `Remedy`, `REMEDIES`, `remedy_of`, `family_of`.
"""

from dataclasses import dataclass

from heeltap.analysis.findings.catalogue import kind_of

__all__ = ["REMEDIES", "Remedy", "family_of", "remedy_of"]


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to play against one kind of weakness."""

    family: str
    """Empty where no exercise of the course is meant for it."""
    grade: int
    fastest_bpm: int
    """Quarter notes a minute beyond which the grade is not made, in 4/4."""
    why: str
    """What the exercise trains, after "it has" or "there"."""


REMEDIES: dict[str, Remedy] = {
    "strong-beats": Remedy("anchor", 3, 240, "nothing but the four beats"),
    "steady": Remedy("anchor", 6, 240, "the click plays beat one only, and you keep the others"),
    "rests": Remedy("anchor", 8, 240, "long rests that you count through"),
    "hands": Remedy("anchor", 7, 240, "one hand answers the other"),
    "chords": Remedy("anchor", 10, 240, "chords whose notes land together on plain beats"),
    "place": Remedy("anchor", 1, 240, "two strokes a bar, and time to hear where each one sits"),
    "divisions": Remedy("split", 2, 180, "even eighths between marked beats"),
    "swing": Remedy("split", 3, 140, "swung eighths at one ratio"),
    "dynamics": Remedy("split", 2, 180, "loud beats and soft eighths between them"),
    "turns": Remedy("turn", 1, 180, "one beat of fill and the one after it, nothing else"),
    "fills": Remedy("turn", 3, 180, "half a bar of fill and the one after it"),
}
"""By the advice key of a finding's kind. Which exercise is ours; that strong beats come first and fills are where one
runs is common practice, no source."""


def remedy_of(code: str, effect_ms: float) -> Remedy | None:
    """What helps against a finding; None where the finding is no weakness or no exercise is meant for it.

    Parameters
    ----------
    code : str
        Of a finding.
    effect_ms : float
        Its size; negative is earlier, or less spread.

    Returns
    -------
    Remedy or None
    """
    kind = kind_of(code)
    if kind.measure == "spread" and effect_ms < 0:
        return None  # a smaller spread than elsewhere is nothing to mend
    return REMEDIES.get(kind.advice)


def family_of(code: str, effect_ms: float) -> str:
    """The family of exercises that a finding points to; empty where to none.

    Parameters
    ----------
    code : str
        Of a finding; one that a newer heeltap wrote points nowhere.
    effect_ms : float

    Returns
    -------
    str
    """
    try:
        remedy = remedy_of(code, effect_ms)
    except KeyError:  # a row written by a newer heeltap
        return ""
    return "" if remedy is None or kind_of(code).advice in _SIDE_ISSUES else remedy.family


_SIDE_ISSUES = ("place", "chords", "hands", "dynamics")
"""Keys that say how to play, not which family to turn to."""
