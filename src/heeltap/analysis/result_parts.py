"""The parts of a Result that hang together from the Offsets table and the aim: counts, score, rows of the sections.

Ours, by what `heeltap.analysis.score`, `heeltap.analysis.pocket` and `heeltap.analysis.section_words` define.

Inside: `Aim`, `counts_of`, `missed_bars`, `scored`, `section_rows`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.offsets_of import Judged
from heeltap.analysis.pocket import beat_half_width_ms, centre_of, held_share, in_pocket
from heeltap.analysis.score import score
from heeltap.analysis.section_words import section_word, unsure_ms
from heeltap.analysis.statistics.tables import Summary
from heeltap.analysis.weak_bars import heard_ms
from heeltap.model.arrays import BoolArray, IntArray, as_ints
from heeltap.model.offsets import Offsets
from heeltap.model.result import Calibration, Counts, Overall, SectionRow
from heeltap.model.timeline import MetreMap

__all__ = ["Aim", "counts_of", "missed_bars", "scored", "section_rows"]


@dataclass(frozen=True, slots=True)
class Aim:
    """What the player was after."""

    lean_ms: float = 0.0
    """Offset aimed at."""
    pocket_ms: float | None = None
    """Half-width of the pocket; None is 4 % of the beat, 12 to 25 ms."""


def counts_of(judged: Judged) -> Counts:
    """The notes by status.

    Parameters
    ----------
    judged : Judged

    Returns
    -------
    Counts
    """
    t = judged.tally
    return Counts(t.planned, t.matched, t.missed, t.extra, t.wrong_pitch, t.unplaced)


def missed_bars(judged: Judged) -> IntArray:
    """Bar of each planned note that was not played.

    Parameters
    ----------
    judged : Judged

    Returns
    -------
    int64, shape (number of missed notes,)
        From 1.
    """
    return as_ints(row.bar for row in judged.rows if row.status == "missed" and row.bar)


def scored(overall: Overall, judged: Judged, aim: Aim, calibration: Calibration, metre: MetreMap) -> Overall:
    """The statistics with the score, the share in the pocket (0-1) and where the pocket lies (ms) filled in.

    Parameters
    ----------
    overall : Overall
        Of a take that follows its grid.
    judged : Judged
    aim : Aim
    calibration : Calibration
        What is known of the delay.
    metre : MetreMap

    Returns
    -------
    Overall
    """
    table, known = judged.offsets, calibration.known
    centre_ms = centre_of(table, aim.lean_ms, delay_known=known)
    scored = score(
        table,
        judged.tally,
        lean_ms=aim.lean_ms,
        centre_ms=None if known else centre_ms,
        pocket_ms=aim.pocket_ms,
        metre=metre,
    )
    held = held_share(judged.rows, table, centre_ms=centre_ms, pocket_ms=aim.pocket_ms, delay_ms=calibration.delay_ms)
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


def section_rows(
    summary: Summary, judged: Judged, aim: Aim, calibration: Calibration, *, against_drums: bool
) -> tuple[SectionRow, ...]:
    """The rows of the sections with the share of strokes in the pocket, 0-1, and the word for where they lie.

    Parameters
    ----------
    summary : Summary
        Of the take.
    judged : Judged
    aim : Aim
    calibration : Calibration
        What is known of the delay.
    against_drums : bool
        Whether a drummer leads.

    Returns
    -------
    tuple of SectionRow
    """
    table, missed = judged.offsets, missed_bars(judged)
    centre_ms = centre_of(table, aim.lean_ms, delay_known=calibration.known)
    inside = in_pocket(table, centre_ms=centre_ms, pocket_ms=aim.pocket_ms)
    heard = float(heard_ms(np.median(table.beat_ms), against_drums=against_drums)) if len(table) else 0.0
    rows = []
    for index, row in enumerate(summary.by_section):
        gone = int(((missed >= row.first_bar) & (missed <= row.last_bar)).sum())
        row = replace(row, in_pocket=_share(inside[table.section == index]))
        unsure = unsure_ms(calibration)
        word = section_word(
            row, gone, centre_ms=centre_ms, heard_ms=aim.pocket_ms or heard, delay_uncertainty_ms=unsure
        )
        rows.append(replace(row, verdict=word))
    return tuple(rows)


def _share(inside: BoolArray) -> float | None:
    """Share of true flags; None of none."""
    return float(inside.mean()) if inside.size else None
