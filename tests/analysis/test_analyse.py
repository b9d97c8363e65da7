"""From a judged take to its Result: what reaches the statements."""

import numpy as np
import pytest

from heeltap.analysis.analyse import Aim, Source, result_of
from heeltap.analysis.offsets_of import judge_plan
from heeltap.model.notes import make_notes
from heeltap.model.plan import Section
from heeltap.model.result import Calibration, Reference, Result
from tests.makers.drills import counted_plan


def a_result(bias_ms: float, calibration: Calibration) -> Result:
    """Of 256 strokes that scatter by 6 ms about this average, in two sections."""
    sections = (Section("verse", 1, 32), Section("chorus", 33, 64))
    plan = counted_plan(["1 2 3 4"] * 64, sections=sections)
    scatter = np.random.default_rng(3).normal(0.0, 6.0, len(plan))
    at_us = plan.at_us + np.round(1000 * (scatter - scatter.mean() + bias_ms)).astype(np.int64)
    notes = make_notes(at_us, [60] * len(plan), [80] * len(plan), duration_us=[50_000] * len(plan))
    judged = judge_plan(plan, notes, np.arange(len(plan)), np.ones(len(plan)))
    source = Source("take", "pads", Reference("clock", "the click"), calibration, None, plan.metre)
    return result_of(judged, source, Aim())


@pytest.mark.parametrize(
    ("calibration", "told"),
    [
        (Calibration(True, 12.0, 0.5, "microphone"), "bias"),
        (Calibration(True, 12.0, 5.0, "microphone"), "nothing"),
        (Calibration(True, 12.0, None, "given"), "bias"),
        (Calibration(False, 0.0, None, "none"), "nothing"),
    ],
)
def test_early_reaches_the_findings_only_as_sure_as_the_delay_is(calibration: Calibration, told: str) -> None:
    """Three ms early on the whole; the interval in the numbers is the playing's, however sure the delay."""
    result = a_result(-3.0, calibration)

    assert [told] == [row.code for row in result.findings]
    exact = a_result(-3.0, Calibration(True, 12.0, 0.0, "given")).overall
    assert (exact.bias_ms, exact.bias_ci95_ms) == (result.overall.bias_ms, result.overall.bias_ci95_ms)


@pytest.mark.parametrize(
    ("bias_ms", "unsure_ms", "words"),
    [
        (-30.0, 2.0, ["early", "early"]),
        (-30.0, 40.0, ["", ""]),
        (0.0, 2.0, ["held", "held"]),
        (0.0, 40.0, ["", ""]),
    ],
)
def test_sections_are_as_sure_as_the_delay_is(bias_ms: float, unsure_ms: float, words: list[str]) -> None:
    """A delay good to 40 ms takes their words away; not known at all, they are held against the take's own average."""
    result = a_result(bias_ms, Calibration(True, 12.0, unsure_ms, "microphone"))
    relative = a_result(bias_ms, Calibration(False, 0.0, None, "none"))

    assert words == [row.verdict for row in result.by_section]
    assert ["held", "held"] == [row.verdict for row in relative.by_section]
