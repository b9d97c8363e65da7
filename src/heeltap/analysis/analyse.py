"""From a judged take to its `Result`: statistics, score, findings and the bars to play again, put together once.

Inside: `Aim`, `Source`, `result_of`, `bars_to_replay`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.advice.after_take import advice_of
from heeltap.analysis.findings import findings
from heeltap.analysis.offsets_of import Judged
from heeltap.analysis.pocket import beat_half_width_ms, centre_of, held_share, in_pocket, jnd_ms
from heeltap.analysis.score import score
from heeltap.analysis.section_words import section_verdict, unsure_ms
from heeltap.analysis.statistics.estimates import Summary, summarise
from heeltap.analysis.weak_bars import judge_bars, replay
from heeltap.model.arrays import BoolArray, IntArray, as_ints
from heeltap.model.offsets import Offsets
from heeltap.model.result import Calibration, Counts, Overall, Reference, Replay, Result, SectionRow, Swing
from heeltap.model.timeline import MetreMap

__all__ = ["Aim", "Source", "bars_to_replay", "result_of"]


@dataclass(frozen=True, slots=True)
class Aim:
    """What the player was after."""

    lean_ms: float = 0.0
    """Offset aimed at."""
    pocket_ms: float | None = None
    """Half-width of the pocket; None is 4 % of the beat, 12 to 25 ms."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where the take comes from, in words and numbers for the head of the report."""

    file: str
    part: str
    reference: Reference
    calibration: Calibration
    resolution_ms: float | None
    metre: MetreMap
    swing: Swing | None = None
    warnings: tuple[str, ...] = ()
    accent_beats: tuple[float, ...] = ()
    """Beats that the plan accents, from 1; empty where it accents none."""
    on_grid: bool = True
    """False: the take follows no grid that was tried, so nothing is said about how it was played."""


def result_of(judged: Judged, source: Source, aim: Aim) -> Result:
    """The whole Result of one take."""
    table = judged.offsets
    summary = summarise(table)
    known = source.calibration.known
    counts, overall = _counts(judged), _scored(summary.overall, judged, source, aim)
    # A take on no grid gets no statement and no advice: what it says of the player would be about the wrong click.
    found = (
        tuple(
            findings(
                table,
                lean_ms=aim.lean_ms if known else None,
                delay_uncertainty_ms=unsure_ms(source.calibration),
                accent_beats=source.accent_beats,
            )
        )
        if source.on_grid
        else ()
    )
    again = bars_to_replay(judged, source, aim) if source.on_grid else ()
    return Result(
        file=source.file,
        part=source.part,
        reference=source.reference,
        lean_ms=aim.lean_ms,
        pocket_ms=aim.pocket_ms,
        calibration=source.calibration,
        resolution_ms=source.resolution_ms,
        counts=counts,
        overall=overall,
        by_beat=summary.by_beat,
        by_division=summary.by_division,
        by_section=_sections(summary, judged, source, aim),
        swing=source.swing,
        findings=found,
        replay=again,
        advice=advice_of(found, again, overall, counts, table, delay_known=known) if source.on_grid else (),
        notes=judged.rows,
        warnings=source.warnings + _doubt(judged),
        on_grid=source.on_grid,
    )


def bars_to_replay(judged: Judged, source: Source, aim: Aim) -> tuple[Replay, ...]:
    """The bars worth playing again, worst first."""
    table = judged.offsets
    centre_ms = centre_of(table, aim.lean_ms, delay_known=source.calibration.known)
    bars = judge_bars(table, _missed_bars(judged), judged.last_bar, centre_ms=centre_ms, pocket_ms=aim.pocket_ms)
    return replay(bars, table.sections)


def _missed_bars(judged: Judged) -> IntArray:
    """Bar of each planned note that was not played."""
    return as_ints(row.bar for row in judged.rows if row.status == "missed" and row.bar)


def _counts(judged: Judged) -> Counts:
    t = judged.tally
    return Counts(t.planned, t.matched, t.missed, t.extra, t.wrong_pitch, t.unplaced)


def _scored(overall: Overall, judged: Judged, source: Source, aim: Aim) -> Overall:
    """The statistics with score and share in the pocket filled in; a take on no grid has neither."""
    if not source.on_grid:
        return overall
    table, known = judged.offsets, source.calibration.known
    centre_ms = centre_of(table, aim.lean_ms, delay_known=known)
    scored = score(
        table,
        judged.tally,
        lean_ms=aim.lean_ms,
        centre_ms=None if known else centre_ms,
        pocket_ms=aim.pocket_ms,
        metre=source.metre,
    )
    held = held_share(
        judged.rows, table, centre_ms=centre_ms, pocket_ms=aim.pocket_ms, delay_ms=source.calibration.delay_ms
    )
    return replace(
        overall,
        in_pocket=scored.in_pocket,
        score=scored.value,
        centre_ms=round(centre_ms, 3),
        pocket_ms=_pocket_ms(table, aim),
        held=held,
    )


def _pocket_ms(table: Offsets, aim: Aim) -> float | None:
    """Half-width of the pocket on the usual beat; None where nothing was judged and the user gave none."""
    if aim.pocket_ms is not None or len(table) == 0:
        return aim.pocket_ms
    return round(float(beat_half_width_ms(np.median(table.beat_ms))), 3)


def _sections(summary: Summary, judged: Judged, source: Source, aim: Aim) -> tuple[SectionRow, ...]:
    """The section rows with the share of strokes in the pocket and the word that the numbers carry."""
    table, missed = judged.offsets, _missed_bars(judged)
    centre_ms = centre_of(table, aim.lean_ms, delay_known=source.calibration.known)
    inside = in_pocket(table, centre_ms=centre_ms, pocket_ms=aim.pocket_ms)
    audible = float(jnd_ms(np.median(table.beat_ms))) if len(table) else 0.0
    rows = []
    for index, row in enumerate(summary.by_section):
        gone = int(((missed >= row.first_bar) & (missed <= row.last_bar)).sum())
        word = section_verdict(
            row,
            gone,
            centre_ms=centre_ms,
            spread_ms=summary.overall.spread_ms or 0.0,
            audible_ms=audible,
            delay_uncertainty_ms=unsure_ms(source.calibration),
        )
        rows.append(replace(row, in_pocket=_share(inside[table.section == index]), verdict=word))
    return tuple(rows)


def _share(inside: BoolArray) -> float | None:
    """Share of true flags; None of none."""
    return float(inside.mean()) if inside.size else None


def _doubt(judged: Judged) -> tuple[str, ...]:
    """A line for the strokes that were left out."""
    if not judged.doubtful:
        return ()
    noun = "stroke is" if judged.doubtful == 1 else "strokes are"
    return (f"{judged.doubtful} {noun} left out of the statistics: which place was meant is more doubtful than not",)
