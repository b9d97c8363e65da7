"""The row of figures that the history keeps of a take, made from its Result.

Conventions: offsets are played minus reference, ms, negative is early; None where there is no number. Ours.

Inside: `past_of`.
"""

from heeltap.analysis.findings.catalogue import NOTHING
from heeltap.model.past_take import PastTake
from heeltap.model.result import Result

__all__ = ["past_of"]


def past_of(
    result: Result,
    *,
    folder: str,
    date: str,
    exercise: str,
    title: str = "",
    family: str = "",
    grade: str = "",
    seed: int | None = None,
    tempo_bpm: float,
    length_s: float,
    ending: str = "played",
    scored_by: str = "",
) -> PastTake:
    """The row of a scored take.

    Parameters
    ----------
    result : Result
    folder : str
        Name of the take folder.
    date : str
        ISO 8601, with its offset.
    exercise : str
        Name of what was played.
    title : str
        The same for people.
    family : str
        Empty for a song.
    grade : int
        0 for a song.
    seed : int, optional
    tempo_bpm : float
        Quarter notes a minute at the start.
    length_s : float
        Playing time in seconds.
    ending : str
        "played", or how it ended early.
    scored_by : str
        Version that computed the figures.

    Returns
    -------
    PastTake
        Offsets in milliseconds.
    """
    overall, counts = result.overall, result.counts
    return PastTake(
        folder=folder,
        date=date,
        exercise=exercise,
        title=title,
        family=family,
        grade=grade,
        seed=seed,
        tempo_bpm=tempo_bpm,
        lean_ms=result.lean_ms,
        length_s=length_s,
        ending=ending,
        n=overall.n,
        bias_ms=overall.bias_ms,
        spread_ms=overall.spread_ms,
        in_pocket=overall.in_pocket,
        held=overall.held,
        score=overall.score,
        planned=counts.planned,
        missed=counts.missed,
        extra=counts.extra,
        method=result.calibration.method,
        findings=tuple((found.code, found.effect_ms) for found in result.findings if found.code != NOTHING),
        scored_by=scored_by,
    )
