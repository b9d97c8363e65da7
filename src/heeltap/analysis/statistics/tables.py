"""The tables of a take: its average and spread as a whole, by beat, by subdivision and by section.

Offsets are played minus reference, milliseconds; negative is early. The numbers come from
`heeltap.analysis.statistics.estimates`, all from one fit of the take's noise.

Ours, where no source is named.

Inside: `Summary`, `summarise`, `overall`, `by_beat`, `by_division`, `by_section`.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from heeltap.analysis.statistics.estimates import Estimate, bias, drift, noise_of, spread
from heeltap.analysis.statistics.noise_models import Noise
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.result import BeatRow, DivisionRow, Overall, SectionRow
from heeltap.model.subdivisions import DIVISIONS

__all__ = ["Summary", "by_beat", "by_division", "by_section", "overall", "summarise"]


@dataclass(frozen=True, slots=True)
class Summary:
    """The statistics of one take; rows as in `heeltap.model.result`."""

    overall: Overall
    by_beat: tuple[BeatRow, ...]
    by_division: tuple[DivisionRow, ...]
    by_section: tuple[SectionRow, ...]


def summarise(table: Offsets) -> Summary:
    """All of the take's statistics; shares inside a pocket, score and verdicts are left for those who own them.

    Parameters
    ----------
    table : Offsets
        The whole take.

    Returns
    -------
    Summary
        ms; negative is early.
    """
    return Summary(overall(table), by_beat(table), by_division(table), by_section(table))


def overall(table: Offsets) -> Overall:
    """Bias, spread and drift of the whole take; ``in_pocket`` and ``score`` None.

    Parameters
    ----------
    table : Offsets
        The whole take.

    Returns
    -------
    Overall
        ms; negative is early.
    """
    noise = noise_of(table.offset_ms)
    middle, width = bias(table.offset_ms, noise=noise), spread(table.offset_ms, noise=noise)
    slope = drift(table.offset_ms, table.bar)
    return Overall(
        n=len(table),
        bias_ms=middle.value,
        bias_ci95_ms=middle.ci95,
        spread_ms=width.value,
        spread_ci95_ms=width.ci95,
        in_pocket=None,
        score=None,
        drift_ms_per_bar=slope.value,
        drift_ci95_ms_per_bar=slope.ci95,
    )


def by_beat(table: Offsets) -> tuple[BeatRow, ...]:
    """One row a beat position, in order.

    Parameters
    ----------
    table : Offsets
        The whole take.

    Returns
    -------
    tuple of BeatRow
        ms; negative is early.
    """
    places = np.round(table.beat, 3)
    return tuple(
        BeatRow(float(place), middle.n, middle.value, middle.ci95, width)
        for place, middle, width in _groups(table.offset_ms, places)
    )


def by_division(table: Offsets) -> tuple[DivisionRow, ...]:
    """One row a kind of slot, in the order of `heeltap.model.subdivisions.DIVISIONS`.

    Parameters
    ----------
    table : Offsets
        The whole take.

    Returns
    -------
    tuple of DivisionRow
        ms; negative is early.
    """
    return tuple(
        DivisionRow(DIVISIONS[int(code)], middle.n, middle.value, middle.ci95, width)
        for code, middle, width in _groups(table.offset_ms, table.division)
    )


def by_section(table: Offsets) -> tuple[SectionRow, ...]:
    """One row a section, in order, those without strokes included; ``in_pocket`` and ``verdict`` empty.

    Parameters
    ----------
    table : Offsets
        The whole take.

    Returns
    -------
    tuple of SectionRow
        ms; negative is early.
    """
    if not table.sections:
        return ()
    # Section means stay in the noise: taking them out would take slow wander out too (coverage 0.86 under long
    # memory).
    noise = noise_of(table.offset_ms)
    found = {int(code): (middle, width) for code, middle, width in _groups(table.offset_ms, table.section, noise)}
    nothing = Estimate(None, None, 0)
    rows = []
    for index, section in enumerate(table.sections):
        middle, width = found.get(index, (nothing, None))
        slope = _slope_of(table.offset_ms, table.bar, table.section == index)
        rows.append(
            SectionRow(
                section.name,
                section.first_bar,
                section.last_bar,
                middle.n,
                middle.value,
                middle.ci95,
                width,
                slope,
            )
        )
    return tuple(rows)


def _slope_of(offset_ms: FloatArray, bar: IntArray, at: BoolArray) -> float | None:
    """Plain slope of a part in ms per bar, without its interval."""
    if np.unique(bar[at]).size < 2:
        return None
    bars = bar[at] - bar[at].mean()
    return float(bars @ offset_ms[at] / np.sum(bars**2))


def _groups(
    offset_ms: FloatArray, labels: npt.NDArray[np.generic], noise: Noise | None = None
) -> Iterator[tuple[float, Estimate, float | None]]:
    """Label, bias and spread (without its interval, which no table shows) of each group; one noise fit for all."""
    noise = noise or noise_of(offset_ms, labels)
    for name in np.unique(labels):
        at = labels == name
        yield float(name), bias(offset_ms, at, noise=noise), _deviation(offset_ms[at])


def _deviation(part: FloatArray) -> float | None:
    """Standard deviation (n - 1); None below two strokes."""
    return float(np.std(part, ddof=1)) if part.size > 1 else None
