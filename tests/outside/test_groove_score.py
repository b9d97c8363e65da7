"""Recorded drummers through the whole of `score_file`, against figures that a separate script computed."""

import csv
from pathlib import Path

import pytest

import heeltap


def figures(folder: Path) -> list[dict[str, str]]:
    """One row a take: offsets to the nearest sixteenth at the annotated tempo."""
    with (folder / "offsets_to_16th.csv").open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.outside
def test_a_forced_sixteenth_grid_gives_the_published_offsets(outside_data: Path) -> None:
    """Mean and SD of every take agree to 0.1 ms (Groove MIDI Dataset, Gillick et al. 2019; linear columns)."""
    rows = figures(outside_data / "groove")
    worst = 0.0
    for row in rows:
        result = heeltap.score_file(outside_data / "groove" / row["file"], grid=16, retrigger_ms=0)
        bias, spread = result.overall.bias_ms, result.overall.spread_ms
        assert bias is not None
        assert spread is not None
        assert int(row["n_all"]) == result.overall.n
        worst = max(worst, abs(bias - float(row["all_lin_mean_ms"])), abs(spread - float(row["all_lin_sd_ms"])))

    assert rows
    assert worst <= 0.1


@pytest.mark.outside
def test_every_take_is_scored_and_never_with_a_missing_first_note(outside_data: Path) -> None:
    """Takes cut at their first beat are scored without a crash, a miss, or a score outside 0 to 100."""
    for path in sorted((outside_data / "groove").glob("*.mid")):
        result = heeltap.score_file(path)

        assert result.counts.missed == 0
        assert result.overall.score is None or 0 <= result.overall.score <= 100
