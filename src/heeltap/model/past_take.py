"""A take as the history remembers it: one row of figures, all that lists, trends and advice need.

Conventions: offsets are played minus reference, ms, negative is early; None where there is no number.

Inside: `PastTake`, `AIM`, `codes_text`, `codes_from`.
"""

from dataclasses import dataclass

__all__ = ["AIM", "PastTake", "codes_from", "codes_text"]

AIM = 0.85
"""Share of strokes in the pocket that practice aims at. Wilson, Shenhav, Straccia & Cohen (2019), Nat. Commun. 10, 4646
give it for learning a two-way choice by gradients; that it holds for rhythm is not shown."""


@dataclass(frozen=True, slots=True)
class PastTake:
    """One take in the history."""

    folder: str
    """Name of its folder among the takes: what it is found again by."""
    date: str
    """When it began, ISO 8601 with the local offset."""
    exercise: str
    """Short name of the exercise or the plan's file."""
    title: str
    family: str
    """``anchor``, ``split``, ``turn``; empty for a plan from elsewhere."""
    grade: str
    """Its name; empty where there is no family."""
    seed: int | None
    tempo_bpm: float
    """At its start, quarter notes a minute."""
    lean_ms: float
    length_s: float
    """How long it was played, count-in left out."""
    ending: str
    """``played``, or why it ended early."""
    n: int
    """Strokes that the figures rest on."""
    bias_ms: float | None
    spread_ms: float | None
    in_pocket: float | None
    """Share of the played strokes in the pocket around the lean, or the take's own middle where the delay is not known, 0-1."""
    held: float | None
    """Share of the planned strokes that were held, 0-1 (see `heeltap.analysis.pocket.held_share`): what advice goes by."""
    score: float | None
    planned: int
    missed: int
    extra: int
    method: str
    """How the delay of the route is known; ``none`` when it is not."""
    findings: tuple[tuple[str, float], ...]
    """Code and size in ms (negative is earlier) of each finding, strongest first."""
    scored_by: str = ""
    """Version of heeltap whose figures these are."""


def codes_text(findings: tuple[tuple[str, float], ...]) -> str:
    """Findings as one word each: ``fills:-12.5 off-beats:8.25``; sizes to the last digit.

    Parameters
    ----------
    findings : tuple of (str, float)
        Code and size in ms, negative is early.

    Returns
    -------
    str
    """
    return " ".join(f"{code}:{effect!r}" for code, effect in findings)


def codes_from(text: str) -> tuple[tuple[str, float], ...]:
    """The findings back from `codes_text`.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of (str, float)
        Code and size in ms, negative is early.

    Raises
    ------
    ValueError
        Another text.
    """
    pairs = (word.rpartition(":") for word in text.split())
    return tuple((code, float(effect)) for code, _, effect in pairs)
