"""Which take to use: always named, by numbers that a person checks on the chart."""

import numpy as np
import pytest

from heeltap.analysis.compare.takes import Choice, Comparison, compare
from heeltap.analysis.offsets_of import Judged, judge_plan
from heeltap.model.arrays import FloatArray
from heeltap.model.notes import make_notes
from heeltap.model.plan import Section
from tests.makers.plans import plan_of_quarters

BARS = 16
PARTS = (Section("verse", 1, 8), Section("chorus", 9, 16))


def judged(offset_ms: FloatArray, *, missed: tuple[int, ...] = (), extra: tuple[float, ...] = ()) -> Judged:
    """Quarters over sixteen bars at 120 bpm with these offsets; rows that were missed, and extra notes at these bars."""
    plan = plan_of_quarters([float(q) for q in range(4 * BARS)], sections=PARTS)
    rows = [row for row in range(len(plan)) if row not in missed]
    at = [int(plan.at_us[row] + round(1000 * offset_ms[row])) for row in rows] + [
        round(2e6 * (bar - 1)) for bar in extra
    ]
    order = np.argsort(at, kind="stable")
    match = np.full(len(plan), -1, np.int64)
    match[rows] = np.argsort(order)[: len(rows)]
    notes = make_notes(np.array(at)[order], [60] * len(at))
    return judge_plan(plan, notes, match, np.ones(len(plan)))


def whole(comparison: Comparison) -> Choice:
    """The choice over the whole part."""
    assert comparison.whole is not None
    return comparison.whole


def flat(off_ms: float) -> FloatArray:
    """Every stroke that far off, every second one to the other side."""
    return off_ms * np.where(np.arange(4 * BARS) % 2, 1.0, -1.0)


def test_the_cost_is_the_root_mean_square_about_the_lean() -> None:
    """12 ms to either side of the click is 12; of a lean of 20 it is the root of (8^2 + 32^2) / 2, the far side at its limit."""
    at_click = whole(compare([judged(flat(12.0)), judged(flat(30.0))]))
    leaning = whole(compare([judged(flat(12.0)), judged(flat(15.0))], lean_ms=20.0))

    assert [12.0, 30.0] == [pytest.approx(cost.rms_ms) for cost in at_click.costs if cost]
    assert leaning.costs[0] is not None
    assert np.sqrt((8.0**2 + 32.0**2) / 2) == pytest.approx(leaning.costs[0].rms_ms)


def test_missed_and_extra_strokes_have_their_price() -> None:
    """At 120 bpm a miss counts as 40 ms, two half-widths of the pocket, and an extra note adds half of that."""
    clean, missed, extra = (
        cost.rms_ms if cost else None
        for cost in whole(
            compare([judged(flat(0.0)), judged(flat(0.0), missed=(3, 9)), judged(flat(0.0), extra=(2.4, 9.1, 10.1))])
        ).costs
    )

    assert 0.0 == clean
    assert np.sqrt(2 * 40.0**2 / 64) == pytest.approx(missed)
    assert np.sqrt(3 * 20.0**2 / 64) == pytest.approx(extra)


def test_a_stroke_far_away_is_no_worse_than_missed() -> None:
    """Half a beat off costs what a miss costs, so nobody gains by leaving it out."""
    far = flat(0.0)
    far[7] = 200.0
    costs = whole(compare([judged(far), judged(flat(0.0), missed=(7,))])).costs

    assert costs[0] is not None
    assert costs[1] is not None
    assert costs[0].rms_ms == pytest.approx(costs[1].rms_ms)


def test_of_twelve_takes_from_poor_to_good_the_best_is_named(rng: np.random.Generator) -> None:
    """Spread from 26 to 9 ms: the last is named, the one before at most as good, and the first has the most strokes off."""
    takes = [judged(rng.normal(0, spread, 4 * BARS)) for spread in np.linspace(26, 9, 12)]

    found = whole(compare(takes))
    shares = [cost.off_share for cost in found.costs if cost]

    assert found.best in (10, 11)
    assert set(found.as_good) <= {7, 8, 9, 10, 11}
    assert shares[found.best] < 0.1 < shares[found.poorest]


def test_each_section_has_its_own_best() -> None:
    """The first take is tighter in the verse, the second in the chorus."""
    half = np.repeat([1.0, 0.0], 2 * BARS)
    first, second = flat(5.0) + flat(15.0) * (1 - half), flat(5.0) + flat(15.0) * half

    found = compare([judged(first), judged(second)])

    assert [("verse", 0, 1), ("chorus", 1, 0)] == [(one.name, one.best, one.poorest) for one in found.sections]


def test_takes_that_nobody_can_tell_apart_are_as_good() -> None:
    """10, 12.9 and 13.1 ms: the second is as good, the third is not."""
    found = whole(compare([judged(flat(off)) for off in (10.0, 12.9, 13.1)]))

    assert (0, (1,), 2) == (found.best, found.as_good, found.poorest)


def test_an_unknown_delay_is_no_cost() -> None:
    """60 ms late throughout, but tighter: the better take where the delay is not known, the worse where it is."""
    takes = [judged(60.0 + flat(5.0)), judged(flat(12.0))]

    assert (0, 1) == (whole(compare(takes, delay_known=False)).best, whole(compare(takes)).best)


def test_takes_of_other_seeds_have_no_best() -> None:
    """Of other material only the player's progress can be asked."""
    found = compare([judged(flat(5.0)), judged(flat(12.0))], same_part=False)

    assert (None, ()) == (found.whole, found.sections)


def test_a_take_in_which_nothing_was_played_costs_all(rng: np.random.Generator) -> None:
    """It is the poorest, not an error."""
    empty = judged(flat(0.0), missed=tuple(range(4 * BARS)))
    found = whole(compare([empty, judged(rng.normal(0, 10, 4 * BARS))]))

    assert (1, 0) == (found.best, found.poorest)
    assert found.costs[0] is not None
    assert (40.0, 1.0) == (found.costs[0].rms_ms, found.costs[0].off_share)


def test_one_take_cannot_be_compared() -> None:
    """Two at least."""
    with pytest.raises(ValueError, match="two or more"):
        compare([judged(flat(0.0))])
