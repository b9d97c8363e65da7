"""The grid against its promises, on simulated takes of every kind: minutes, so only with the slow tests.

Run ``python -m tests.analysis.test_quantise_suite [TAKES] [SEED]`` to print the table.
"""

import sys
from dataclasses import dataclass

import numpy as np
import pytest

from heeltap.analysis.quantise import Slots, quantise
from tests.makers.grooves import STYLES, Groove, Player, draw_player, make_groove

pytestmark = pytest.mark.slow

SURE = 0.9
"""Slots given at least this probability are called confident."""


@dataclass(frozen=True, slots=True)
class Row:
    """One take against its truth: counts of onsets that have a slot."""

    player: Player
    slots: Slots
    onsets: int
    right: int
    nearest_right: int
    sure: int
    sure_right: int
    past: int
    """Further than half a sixteenth from home by the run and the bias."""
    past_right: int
    bias_error_ms: float
    spread_ratio: float


def judge(groove: Groove) -> Row:
    """Place one take and count."""
    player = groove.player
    slots = quantise(groove.take_us, player.bpm, player.metre)
    has = np.isfinite(groove.meant)
    with np.errstate(invalid="ignore"):
        right = (np.abs(slots.quarter - groove.meant) < 0.03) & has
    nearest = np.round(groove.take_us / 60e6 * player.bpm * 4) / 4
    nearest_right = has & (np.abs(nearest - np.nan_to_num(groove.meant, nan=-9.0)) < 0.03)
    sure = has & (slots.confidence >= SURE)
    past = has & groove.in_run
    truth, read = groove.offset_ms[has], slots.offset_ms[slots.placed]
    return Row(
        player, slots, int(has.sum()), int(right.sum()), int(nearest_right.sum()), int(sure.sum()),
        int((sure & right).sum()), int(past.sum()), int((past & right).sum()),
        float(read.mean() - truth.mean()), float(read.std() / truth.std()),
    )  # fmt: skip


def rows(count: int, seed: int, **fixed: object) -> list[Row]:
    """So many takes by anyone."""
    rng = np.random.default_rng(seed)
    return [judge(make_groove(rng, draw_player(rng, **fixed))) for _ in range(count)]


def share(table: list[Row], some: str, all_of: str) -> float:
    """Sum of one count over the sum of another."""
    return sum(getattr(row, some) for row in table) / max(sum(getattr(row, all_of) for row in table), 1)


def clear(table: list[Row]) -> list[Row]:
    """Takes whose spread is under 15 % of a sixteenth, at 160 bpm or less."""
    return [r for r in table if r.player.spread_ms < 0.15 * 15_000 / r.player.bpm and r.player.bpm <= 160]


@pytest.fixture(scope="module")
def table() -> list[Row]:
    """Six hundred takes."""
    return rows(600, 2026)


def test_clear_takes_get_their_slots(table: list[Row]) -> None:
    """Spread under 15 % of a sixteenth, 160 bpm or less: at least 98.5 % of the slots."""
    assert share(clear(table), "right", "onsets") >= 0.985


def test_all_takes_get_their_slots(table: list[Row]) -> None:
    """Everything drawn: at least 92 %, far above the nearest sixteenth."""
    right = share(table, "right", "onsets")

    assert right >= 0.92
    assert right >= share(table, "nearest_right", "onsets") + 0.15


def test_confident_slots_are_right(table: list[Row]) -> None:
    """At least 80 % of the onsets are called confident, and of those at least 99.5 % are right."""
    assert share(table, "sure", "onsets") >= 0.80
    assert share(table, "sure_right", "sure") >= 0.995


def test_runs_are_followed(table: list[Row]) -> None:
    """Of the strokes that bias and run have carried past half a sixteenth at least 85 % are right."""
    assert sum(row.past for row in table) > 5_000
    assert share(table, "past_right", "past") >= 0.85


def test_swing_is_measured(table: list[Row]) -> None:
    """Median error of the ratio at most 0.1; the 95 % interval covers it in at least 90 % of the takes found."""
    swung = [row for row in table if row.player.style == "swing"]
    found = [(row.slots.swing, row.player.swing_ratio) for row in swung if row.slots.swing is not None]

    assert len(found) >= 0.95 * len(swung)
    assert float(np.median([abs(swing.ratio - truth) for swing, truth in found])) <= 0.1
    covered = [swing.ci95[0] <= truth <= swing.ci95[1] for swing, truth in found if swing.ci95 is not None]
    assert np.mean(covered) >= 0.90


def test_straight_takes_do_not_swing(table: list[Row]) -> None:
    """A swing is reported in at most 2 % of the takes that have none."""
    straight = [row for row in table if row.player.style != "swing"]

    assert np.mean([row.slots.swing is not None for row in straight]) <= 0.02


def test_bias_and_spread_survive(table: list[Row]) -> None:
    """In clear takes the bias comes back within 1 ms and the spread within 5 % (medians)."""
    assert float(np.median([abs(row.bias_error_ms) for row in clear(table)])) <= 1.0
    assert float(np.median([abs(row.spread_ratio - 1) for row in clear(table)])) <= 0.05


def test_the_written_tempo_is_left_alone(table: list[Row]) -> None:
    """A correct tempo is corrected in at most 1 % of the takes, and at most 3 % are said not to be on the grid."""
    assert np.mean([row.slots.tempo_scale != 1.0 for row in table]) <= 0.01
    assert np.mean([not row.slots.on_grid for row in table]) <= 0.03


@pytest.mark.parametrize("scale", [0.997, 1.003])
def test_three_thousandths_are_noticed(scale: float) -> None:
    """Takes of 24 and 32 bars at a tempo 0.3 % off: noticed in at least 90 %, the scale right to 0.05 % (median)."""
    wrong = rows(80, 7, tempo_scale=scale, bars=28, spread_ms=10.0, run_ms=0.0)
    error = [abs(row.slots.tempo_scale - scale) for row in wrong]

    assert np.mean([row.slots.tempo_scale != 1.0 for row in wrong]) >= 0.9
    assert float(np.median(error)) <= 5e-4
    assert share(wrong, "right", "onsets") >= 0.92


def line(name: str, some: list[Row]) -> str:
    """One row of the printed table."""
    columns = [
        f"{name:11s} {len(some):4d} takes",
        f"right {share(some, 'right', 'onsets'):.4f}",
        f"nearest sixteenth {share(some, 'nearest_right', 'onsets'):.4f}",
        f"confident {share(some, 'sure', 'onsets'):.3f}",
        f"of those right {share(some, 'sure_right', 'sure'):.4f}",
        f"past half a slot {share(some, 'past_right', 'past'):.3f}",
        f"bias {np.median([abs(r.bias_error_ms) for r in some]):.2f} ms",
        f"spread {100 * np.median([abs(r.spread_ratio - 1) for r in some]):.1f} %",
    ]
    return ", ".join(columns)


def main() -> None:
    """Print the table."""
    count, seed = (int(value) for value in [*sys.argv[1:3], *("600", "2026")[len(sys.argv) - 1 :]])
    everything = rows(count, seed)
    print(line("everything", everything))
    print(line("clear", clear(everything)))
    for style in STYLES:
        some = [row for row in everything if row.player.style == style]
        print(line(style, some))
        print(line("  clear", clear(some)))
    straight = [r.slots.swing is not None for r in everything if r.player.style != "swing"]
    swung = [row for row in everything if row.player.style == "swing"]
    error = [abs(row.slots.swing.ratio - row.player.swing_ratio) for row in swung if row.slots.swing]
    print(f"swing ratio off by {np.median(error):.3f} (median), false swing {np.mean(straight):.4f}")
    off = np.mean([not row.slots.on_grid for row in everything])
    bent = np.mean([row.slots.tempo_scale != 1.0 for row in everything])
    print(f"said not to be on the grid {off:.4f}, tempo changed {bent:.4f}")


if __name__ == "__main__":
    main()
