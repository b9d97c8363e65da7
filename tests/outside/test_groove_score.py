"""Recorded drummers through the whole of `score_file`, against figures that a separate script computed."""

import csv
from pathlib import Path

import pytest

import heeltap
from tests.makers.amounts import share


def figures(folder: Path) -> list[dict[str, str]]:
    """One row a take: offsets to the nearest sixteenth at the annotated tempo."""
    with (folder / "offsets_to_16th.csv").open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.outside
def test_a_forced_sixteenth_grid_gives_the_published_offsets(outside_data: Path) -> None:
    """Mean and SD of every take agree to 0.1 ms (Groove MIDI Dataset, Gillick et al. 2019; linear columns).

    The table lets a note exactly half-way between two slots fall to either side by rounding; each such note may move the
    mean by a slot's length over the number of notes, and no more than that is allowed for it.
    """
    rows = share(figures(outside_data / "groove"), every=6)
    for row in rows:
        path = outside_data / "groove" / row["file"]
        overall = heeltap.score_file(path, grid=16, retrigger_ms=0).overall
        slot_ticks = heeltap.read_midi(path).tempo.ticks_per_quarter / 4
        ties = int((heeltap.read_midi(path).tick % slot_ticks == slot_ticks / 2).sum())
        slack_ms = 0.1 + ties * float(row["sixteenth_ms"]) / overall.n

        assert int(row["n_all"]) == overall.n
        assert float(row["all_lin_mean_ms"]) == pytest.approx(overall.bias_ms, abs=slack_ms)
        assert float(row["all_lin_sd_ms"]) == pytest.approx(overall.spread_ms, abs=slack_ms)

    assert rows


@pytest.mark.outside
def test_every_take_is_scored_and_never_with_a_missing_first_note(outside_data: Path) -> None:
    """Takes cut at their first beat are scored without a crash, a miss, or a score outside 0 to 100."""
    for path in share(sorted((outside_data / "groove").glob("*.mid")), every=6):
        result = heeltap.score_file(path)

        assert result.counts.missed == 0
        assert result.overall.score is None or 0 <= result.overall.score <= 100
