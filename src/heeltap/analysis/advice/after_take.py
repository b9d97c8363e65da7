"""What to do after one take, from its result alone: which bars again, which simpler exercise, or that it holds.

At most one thing of each sort is said, because one thing is changed at a time: the bars that stand out are played
slower as they are, the exercise is simpler at the tempo of the song. Nothing here asks anybody to play on.

What is advised when is ours.

Inside: `advice_of`, `course_aside`.
"""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from heeltap.analysis.advice.remedies import REMEDIES, Remedy, remedy_of
from heeltap.analysis.findings.catalogue import NOTHING, kind_of
from heeltap.model.offsets import Offsets
from heeltap.model.past_take import AIM
from heeltap.model.result import Advice, Counts, Finding, Overall, Replay, Result

__all__ = ["advice_of", "course_aside"]

_ENOUGH = 32
"""Strokes below which nothing is advised: findings, too, are silent below."""

_TOO_HARD = 0.25
"""Share of planned notes missed or on another key from which the part itself is too much for now. Ours."""

_SLIPS = 0.1
"""Share of planned notes lost up to which nothing is said of them. Ours."""

_SLOWER = 0.95

_TEMPO = re.compile(r" --tempo \S+")

_SLOWEST_BPM = 40.0


def advice_of(
    findings: Sequence[Finding],
    again: Sequence[Replay],
    overall: Overall,
    counts: Counts,
    table: Offsets,
    *,
    beat_quarters: float = 1.0,
) -> tuple[Advice, ...]:
    """What to do next, most useful first, at most three rows.

    Parameters
    ----------
    findings, again
        Strongest and worst first.
    overall, counts
        Of the whole take.
    table : Offsets
        For the tempo.
    beat_quarters : float
        Length of a beat in quarter notes, for the tempo as `heeltap drill` takes it.

    Returns
    -------
    tuple of Advice
        Every number in them is one of the result's own.
    """
    if overall.n < _ENOUGH:
        return ()
    bpm = 60_000.0 / float(np.median(table.beat_ms))
    tempo = bpm * beat_quarters if np.ptp(table.beat_ms) < 1.0 else None
    said = [_too_hard(counts), _bars(again, tempo), _missed(counts), _behind_it(findings, bpm), _tired(findings)]
    found = [advice for advice in said if advice is not None]
    if not found and findings and findings[0].code == NOTHING and overall.in_pocket is not None:
        found = [_holds(overall) if overall.in_pocket >= AIM else _everywhere(overall, bpm)]
    return tuple(found[:3])


def course_aside(result: Result) -> Result:
    """The result of an exercise of the course: what comes after it is told by the history, not by this take alone.

    Parameters
    ----------
    result : Result

    Returns
    -------
    Result
    """
    kept = tuple(advice for advice in result.advice if advice.action in ("replay", "rest"))
    return replace(result, advice=kept)


def _too_hard(counts: Counts) -> Advice | None:
    """A simpler part, where much of this one was not played."""
    lost = counts.missed + counts.wrong_pitch
    if not counts.planned or lost <= _TOO_HARD * counts.planned:
        return None
    share = round(100 * lost / counts.planned)
    text = (
        f"You missed {share} of 100 planned notes or hit another key. A simple part in time beats a busy one out of time: "
        "heeltap simplify makes four simpler parts of it. Begin with the strong beats."
    )
    return Advice("simplify", text)


def _missed(counts: Counts) -> Advice | None:
    """All notes first, where more was missed than a slip and less than what makes a part too much."""
    lost = counts.missed + counts.wrong_pitch
    if not _SLIPS * counts.planned < lost <= _TOO_HARD * counts.planned or counts.missed <= counts.wrong_pitch:
        return None
    text = f"You missed {counts.missed} of {counts.planned} planned notes. Play it 5 % slower until you have them all."
    return Advice("slower", text)


def _bars(again: Sequence[Replay], bpm: float | None) -> Advice | None:
    """The worst bars; ``bpm`` in quarter notes, None where the tempo changes."""
    if not again:
        return None
    worst = again[0]
    one = worst.first_bar == worst.last_bar
    what, them = (f"bar {worst.first_bar}", "it") if one else (f"bars {worst.first_bar}-{worst.last_bar}", "them")
    before = f" with the bar before {them}" if worst.first_bar > 1 else ""
    text = f"Play {what} again{before}, 5 % slower, and change nothing else. When that sits twice in a row, go back to the tempo."
    if worst.command and bpm is not None:
        run_in = " --run-in" if before else ""
        text += f"\n{_TEMPO.sub('', worst.command)} --tempo {_SLOWER * bpm:.0f}{run_in} --loop"
    return Advice("replay", text)


def _behind_it(findings: Sequence[Finding], bpm: float) -> Advice | None:
    """The exercise against the strongest finding that has one."""
    for finding in findings:
        remedy = remedy_of(finding.code, finding.effect_ms)
        if remedy is not None:
            exercise = _exercise(remedy, bpm)
            text = f"Practise what lies behind it: heeltap drill {exercise} ({remedy.why})."
            return Advice("drill", text, exercise)
    return None


def _tired(findings: Sequence[Finding]) -> Advice | None:
    """Rest, where the playing got looser over the take."""
    if any(kind_of(one.code).advice == "rest-yourself" and one.effect_ms > 0 for one in findings):
        return Advice("rest", "You got looser towards the end: rest before the next take.")
    return None


def _holds(overall: Overall) -> Advice:
    share = f"{100 * (overall.in_pocket or 0.0):.0f} % of your strokes are in the pocket"
    text = f"That sits well: {share}. Play it once more tomorrow: what is still there after a night is learned."
    return Advice("retest", text)


def _everywhere(overall: Overall, bpm: float) -> Advice:
    remedy = REMEDIES["strong-beats"]
    exercise = _exercise(remedy, bpm)
    text = (
        f"No place stands out: {100 * (overall.in_pocket or 0.0):.0f} % of your strokes are in the pocket, and practice aims "
        f"at {100 * AIM:.0f}. Begin with the strong beats: heeltap drill {exercise} ({remedy.why})."
    )
    return Advice("drill", text, exercise)


def _exercise(remedy: Remedy, bpm: float) -> str:
    """What `heeltap drill` takes, at the song's own beat; a song too fast for the grade is counted in halves."""
    tempo = max(bpm, _SLOWEST_BPM)
    while round(tempo) > remedy.fastest_bpm:
        tempo /= 2
    return f"{remedy.family} {remedy.grade} --tempo {round(tempo)}"
