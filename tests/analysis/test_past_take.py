"""The share that advice goes by: of planned strokes, around the take's own middle where the delay is not known."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.analyse import Options, analyse
from heeltap.analysis.past_take import past_of
from heeltap.analysis.pocket import held_share
from heeltap.model.notes import make_notes
from heeltap.model.played import Played
from heeltap.model.result import Finding, Result
from tests.makers.drills import counted_plan
from tests.makers.judgements import quarters_table


def scored(
    offset_ms: Sequence[float | None], *, delay_ms: float | None = 0.0, pitches: tuple[int, ...] = (60,)
) -> Result:
    """The result of quarters at 120 bpm with these offsets, None for a missed note; one entry a note."""
    plan = counted_plan(["1 2 3 4"] * (len(offset_ms) // 4 // len(pitches)), pitches=pitches)
    rows = [row for row, ms in enumerate(offset_ms) if ms is not None]
    at = plan.at_us[rows] + np.array([round(1000 * ms) for ms in offset_ms if ms is not None])
    order = np.argsort(at, kind="stable")
    notes = make_notes(at[order], plan.pitch[rows][order], np.full(at.size, 80), duration_us=np.full(at.size, 50_000))
    played = Played(notes, plan.tempo, plan.metre, plan, file="take", part="pads")
    return analyse(played, Options(delay_ms=delay_ms))


def test_it_is_the_share_in_the_pocket_where_nothing_is_missed(rng: np.random.Generator) -> None:
    """With a known delay and single notes the two figures agree, take for take."""
    for spread_ms in (5.0, 15.0, 40.0):
        result = scored(list(rng.normal(0, spread_ms, 32)))

        assert result.overall.in_pocket == result.overall.held


def test_a_missed_stroke_was_not_held() -> None:
    """Four of sixteen left out: 12 of 16, though all that was played was in the pocket."""
    result = scored([0.0, 1.0, -1.0, None] * 4)

    assert (1.0, 0.75) == (result.overall.in_pocket, result.overall.held)


def test_an_unknown_delay_is_no_failure(rng: np.random.Generator) -> None:
    """60 ms late all through: nothing in the pocket around the beat, nearly all around the take's own middle."""
    offsets = list(60.0 + rng.normal(0, 5, 32))

    assert 0.0 == scored(offsets).overall.held
    assert (scored(offsets, delay_ms=None).overall.held or 0.0) > 0.95
    assert scored(offsets, delay_ms=60.0).overall.held == pytest.approx(
        scored(offsets, delay_ms=None).overall.held, abs=0.1
    )


def test_a_chord_is_one_stroke_and_as_good_as_its_worst_note() -> None:
    """Two notes a stroke: one of them 60 ms late makes its stroke fail, not half a stroke."""
    offsets = [0.0, 0.0] * 16
    offsets[5] = 60.0

    assert 15 / 16 == scored(offsets, pitches=(60, 64)).overall.held


def test_nothing_played_is_nothing_held() -> None:
    """0 where something was planned; None where nothing was."""
    result = scored([0.0, None, None, None] * 4)
    table = quarters_table(np.zeros(1), np.random.default_rng(0), tempo_bpm=120)
    missed = [note for note in result.notes if note.status == "missed"]

    assert 0.0 == held_share(missed, table)
    assert held_share([], table) is None


def test_the_row_names_what_was_found_and_not_that_nothing_was() -> None:
    """Codes and sizes; ``nothing`` is left out."""
    found = (Finding("fills", "", -12.5, None, 0.01), Finding("nothing", "", 0.0, None, None))
    result = replace(scored([0.0] * 16), findings=found)

    row = past_of(result, folder="f", date="d", exercise="e", tempo_bpm=96.0, length_s=8.0)

    assert (("fills", -12.5),) == row.findings
    assert (16, "given", "played") == (row.planned, row.method, row.ending)
