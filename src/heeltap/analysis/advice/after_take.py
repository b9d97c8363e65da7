"""What to do after one take, from its result alone: which bars again, which simpler exercise, or that it holds.

At most one thing of each sort is said, because one thing is changed at a time: the bars that stand out are played
slower as they are, the exercise is simpler at the tempo of the song. Nothing here asks anybody to play on.

Inside: `advice_of`, `course_aside`.
"""

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

_SLOWEST_BPM = 40.0


def advice_of(
    findings: Sequence[Finding],
    again: Sequence[Replay],
    overall: Overall,
    counts: Counts,
    table: Offsets,
    *,
    delay_known: bool,
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
    delay_known : bool
        False: the share in the pocket says nothing, for the delay may have pushed all of it out.
    """
    if overall.n < _ENOUGH:
        return ()
    bpm = 60_000.0 / float(np.median(table.beat_ms))
    said = [_too_hard(counts), _bars(again), _behind_it(findings, bpm), _tired(findings)]
    found = [advice for advice in said if advice is not None]
    if not found and findings and findings[0].code == NOTHING and delay_known:
        found = [_holds() if (overall.in_pocket or 0.0) >= AIM else _everywhere(bpm)]
    return tuple(found[:3])


def course_aside(result: Result) -> Result:
    """The result of an exercise of the course: what comes after it is told by the history, not by this take alone."""
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


def _bars(again: Sequence[Replay]) -> Advice | None:
    """The worst bars."""
    if not again:
        return None
    first, last = again[0].first_bar, again[0].last_bar
    what, them = (f"bar {first}", "it") if first == last else (f"bars {first}-{last}", "them")
    before = f" with the bar before {them}" if first > 1 else ""
    text = f"Play {what} again{before}, 5 % slower, and change nothing else. When that sits twice in a row, go back to the tempo."
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


def _holds() -> Advice:
    return Advice("retest", "That sits well. Play it once more tomorrow: what is still there after a night is learned.")


def _everywhere(bpm: float) -> Advice:
    remedy = REMEDIES["strong-beats"]
    exercise = _exercise(remedy, bpm)
    text = (
        f"No place stands out, your strokes spread everywhere. Begin with the strong beats: heeltap drill {exercise} "
        f"({remedy.why})."
    )
    return Advice("drill", text, exercise)


def _exercise(remedy: Remedy, bpm: float) -> str:
    """What `heeltap drill` takes, at the song's own beat; a song too fast for the grade is counted in halves."""
    tempo = max(bpm, _SLOWEST_BPM)
    while round(tempo) > remedy.fastest_bpm:
        tempo /= 2
    return f"{remedy.family} {remedy.grade} --tempo {round(tempo)}"
