"""The row of figures that the history keeps of a take, made from its Result.

Conventions: offsets are played minus reference, ms, negative is early; None where there is no number.

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
    grade: int = 0,
    seed: int | None = None,
    tempo_bpm: float,
    length_s: float,
    ending: str = "played",
    scored_by: str = "",
) -> PastTake:
    """The row of a scored take."""
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
