"""Made-up sections, fills and loudness laid over real drummers' takes: there is nothing to find, so nothing may be
said.

Data: Groove (Gillick, Roberts, Engel, Eck & Bamman 2019, CC BY 4.0), drummers playing to a click. Offsets are to the
nearest sixteenth at the annotated tempo, read with mido: nothing of heeltap's own reading or grid is in this check.
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest

from heeltap.analysis.findings import findings
from heeltap.analysis.statistics.estimates import bias
from heeltap.model.arrays import FloatArray, IntArray
from tests.makers.amounts import amount

pytestmark = pytest.mark.outside

PLACEBO = {
    "into-change",
    "after-change",
    "landing",
    "fills",
    "loudness",
    "section-drift",
    "scatter-into-change",
    "scatter-fills",
}
"""Codes that rest on a made-up label; those of beats and divisions rest on real ones and may well be true."""


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One human take on a plain raster of sixteenths."""

    slot: IntArray
    offset_ms: FloatArray
    velocity: IntArray
    per_bar: int


def human_takes(folder: Path) -> Iterator[Take]:
    """All takes with 40 strokes or more; tick 0 is left out, the files are cut there."""
    with (folder / "info.csv").open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    for row in rows:
        midi = mido.MidiFile(folder / row["file"])
        top, bottom = (int(part) for part in row["time_signature"].split("-"))
        struck = []
        for track in midi.tracks:
            tick = 0
            for message in track:
                tick += message.time
                if message.type == "note_on" and message.velocity > 0 and tick > 0:
                    struck.append((tick, message.velocity))
        tick_row, velocity = np.array(sorted(struck)).T
        place = tick_row / midi.ticks_per_beat * 4
        slot = np.round(place).astype(np.int64)
        if slot.size >= 40:
            yield Take(slot, (place - slot) * 15_000 / float(row["bpm"]), velocity, 16 * top // bottom)


def strokes(take: Take) -> Take:
    """Notes in one slot as one stroke: the median offset, the loudest velocity."""
    slot = np.unique(take.slot)
    offset = np.array([np.median(take.offset_ms[take.slot == s]) for s in slot])
    velocity = np.array([take.velocity[take.slot == s].max() for s in slot])
    return Take(slot, offset, velocity, take.per_bar)


def made_up(take: Take, rng: np.random.Generator) -> dict[str, Any]:
    """The take's own offsets, bars and beats; random sections of 3 to 10 bars, random half-bar fills, shuffled
    loudness."""
    bar, place = take.slot // take.per_bar + 1, take.slot % take.per_bar
    starts = [1]
    while starts[-1] < bar[-1] - 1:
        starts.append(starts[-1] + int(rng.integers(3, 11)))
    filled = rng.random(int(bar[-1]) + 1) < 0.2
    return {
        "offset_ms": take.offset_ms,
        "bar": bar,
        "beat": 1 + place / 4,
        "section": np.searchsorted(starts, bar, "right") - 1,
        "kind": np.where(filled[bar] & (place >= take.per_bar // 2), 1, 0),
        "velocity": rng.permutation(take.velocity),
    }


def share_told(folder: Path, times: int, *, folded: bool, seed: int) -> float:
    """Share of made-up tables about whose made-up labels at least one thing is said."""
    rng = np.random.default_rng(seed)
    told = [
        bool(PLACEBO & {row.code for row in findings(made_up(strokes(take) if folded else take, rng))})
        for take in human_takes(folder)
        for _ in range(times)
    ]
    return float(np.mean(told))


@pytest.mark.parametrize("folded", [True, False], ids=["strokes", "notes"])
@pytest.mark.slow
def test_placebo_labels_are_not_believed(outside_data: Path, folded: bool) -> None:
    """Four made-up tables a take (one in the fast half): at most one in twelve is believed (plain t-tests: three in four)."""
    assert share_told(outside_data / "groove", amount(4, fast=1), folded=folded, seed=5) <= 1 / 12


@pytest.mark.slow
@pytest.mark.parametrize("folded", [True, False], ids=["strokes", "notes"])
def test_placebo_rate(outside_data: Path, folded: bool) -> None:
    """Sixty made-up tables a take: at most 5 % are believed."""
    assert share_told(outside_data / "groove", 60, folded=folded, seed=6) <= 0.05


@pytest.mark.slow
def test_intervals_hold_from_part_to_part(outside_data: Path) -> None:
    """Takes cut into four and eight parts of 30 strokes or more: two parts' means differ by more than their
    intervals allow in at most 7 % of pairs, where the textbook's interval fails in more than 15 %."""
    honest, textbook = [], []
    for take in map(strokes, human_takes(outside_data / "groove")):
        for pieces in (4, 8):
            rows = []
            for part in np.array_split(take.offset_ms, pieces):
                found = bias(part)
                if part.size >= 30 and found.ci95 is not None:
                    plain = 2 * part.std(ddof=1) / np.sqrt(part.size)
                    rows.append((part.mean(), (found.ci95[1] - found.ci95[0]) / 2, plain))
            for one, two in combinations(rows, 2):
                honest.append(abs(one[0] - two[0]) <= np.hypot(one[1], two[1]))
                textbook.append(abs(one[0] - two[0]) <= np.hypot(one[2], two[2]))

    assert len(honest) > 400
    assert np.mean(honest) >= 0.93
    assert np.mean(textbook) < 0.85
