"""Thirty people tapping to a metronome: early on average, looser at slower tempi, and intervals that hold from trial
to trial.

Data: Bååth & Madison (2012), MIT licence; 17,356 asynchronies in ms, negative is early, four trials a person and
interval.
"""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.statistics.estimates import bias, spread
from heeltap.model.arrays import FloatArray
from tests.bench.bench_slow_pulses import match_taps
from tests.makers.amounts import amount

pytestmark = pytest.mark.outside

INTERVALS = (600, 1200, 1800, 2400, 3000)


@pytest.fixture(scope="module")
def _cache() -> dict[Path, dict[int, dict[str, list[FloatArray]]]]:
    return {}


@pytest.fixture
def taps(
    outside_data: Path, _cache: dict[Path, dict[int, dict[str, list[FloatArray]]]]
) -> dict[int, dict[str, list[FloatArray]]]:
    """Asynchronies by interval in ms and person: one row a trial."""
    path = outside_data / "tapping" / "tapping_data_baath_madison_2012.csv"
    if path not in _cache:
        found: dict[tuple[int, str, str], list[float]] = {}
        with path.open(newline="") as lines:
            for row in csv.DictReader(lines):
                found.setdefault((int(row["isi"]), row["subject"], row["trial"]), []).append(float(row["asynch"]))
        table: dict[int, dict[str, list[FloatArray]]] = {interval: {} for interval in INTERVALS}
        for (interval, person, _), row_ms in found.items():
            table[interval].setdefault(person, []).append(np.array(row_ms))
        _cache[path] = table
    return _cache[path]


def test_published_mean_and_spread(taps: dict[int, dict[str, list[FloatArray]]]) -> None:
    """At 600 ms all taps together have mean -40.1 ms and standard deviation 43.6 ms."""
    all_taps = np.concatenate([trial for trials in taps[600].values() for trial in trials])

    assert round(bias(all_taps).value or 0.0, 1) == -40.1
    assert round(spread(all_taps).value or 0.0, 1) == 43.6


def test_people_tap_early(taps: dict[int, dict[str, list[FloatArray]]]) -> None:
    """At 600 ms all thirty people are early on average, and nobody's interval says late at any tempo."""
    means = {
        interval: [bias(np.concatenate(trials)) for trials in people.values()] for interval, people in taps.items()
    }

    assert sum((found.value or 0.0) < 0 for found in means[600]) == 30
    assert not [found for rows in means.values() for found in rows if found.ci95 and found.ci95[0] > 0]
    assert sum(found.ci95 is not None and found.ci95[1] < 0 for found in means[600]) >= 10


@pytest.mark.slow
def test_slower_is_looser_and_earlier(taps: dict[int, dict[str, list[FloatArray]]]) -> None:
    """Both the spread inside trials and the early lead grow with every longer interval."""
    spreads = [
        float(np.mean([spread(trial).value or 0.0 for trials in taps[interval].values() for trial in trials]))
        for interval in INTERVALS
    ]
    leads = [
        float(np.mean([bias(trial).value or 0.0 for trials in taps[interval].values() for trial in trials]))
        for interval in INTERVALS
    ]

    assert spreads == sorted(spreads)
    assert leads == sorted(leads, reverse=True)


def test_intervals_hold_from_trial_to_trial(taps: dict[int, dict[str, list[FloatArray]]]) -> None:
    """The means of two trials of one person differ by more than their intervals allow in at most 5 % of pairs, where
    the textbook's interval fails in far more: real taps wander."""
    honest, textbook = [], []
    for trials in taps[600].values():
        rows = []
        for trial in trials:
            found = bias(trial)
            assert found.ci95 is not None
            rows.append(
                (trial.mean(), (found.ci95[1] - found.ci95[0]) / 2, 2.05 * trial.std(ddof=1) / np.sqrt(trial.size))
            )
        for one, two in combinations(rows, 2):
            honest.append(abs(one[0] - two[0]) <= np.hypot(one[1], two[1]))
            textbook.append(abs(one[0] - two[0]) <= np.hypot(one[2], two[2]))

    assert np.mean(honest) >= 0.95
    assert np.mean(textbook) < 0.75


@pytest.mark.parametrize(
    "interval_ms", [pytest.param(ms, marks=pytest.mark.slow) if ms > 1000 else ms for ms in INTERVALS]
)
@pytest.mark.parametrize("delay_ms", [0.0, None])
def test_taps_at_slow_pulses_are_found(outside_data: Path, interval_ms: int, delay_ms: float | None) -> None:
    """At least 99.5 % of the taps answer their own click, and their spread is told to 3 %, at every interval."""
    got = match_taps(outside_data / "tapping", interval_ms, delay_ms, every=amount(1, fast=6))

    assert got.matched >= 0.995
    assert abs(got.spread) <= 0.03
