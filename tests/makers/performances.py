"""Published piano performances with note-by-note truth, and what a careless player would make of them.

Inside: `Performance`, `read_performance`, `spoil`, `pair_f1`.
"""

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.model.arrays import FloatArray, IntArray

__all__ = ["Performance", "pair_f1", "read_performance", "spoil"]


@dataclass(frozen=True, slots=True, eq=False)
class Performance:
    """A part in beats, a take of it, and which note answers which."""

    name: str
    beat: FloatArray
    """Planned positions."""
    pitch: IntArray
    """Planned keys."""
    take_us: IntArray
    """Played times, in order."""
    take_pitch: IntArray
    """Played keys."""
    truth: IntArray
    """Per planned note: index of the played one, or -1."""


def read_performance(table: Path, take_us: IntArray, take_pitch: IntArray) -> Performance:
    """The part and the truth from the table of a performance whose recording holds the given notes in time order.

    The table's own times are those of the recording less rounding to 10 us; they are used to name the notes only.
    """
    with table.open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    played = sorted(
        (float(row["perf_onset_sec"]), int(row["perf_pitch"]), row["perf_id"]) for row in rows if row["perf_id"]
    )
    if [pitch for _, pitch, _ in played] != take_pitch.tolist():
        raise ValueError(f"{table.name}: the recording's keys are not those of the table")
    index = {name: row for row, (_, _, name) in enumerate(played)}
    planned = [row for row in rows if row["label"] in ("match", "deletion")]
    return Performance(
        table.stem,
        np.array([float(row["score_beat"]) for row in planned]),
        np.array([int(row["score_pitch"]) for row in planned]),
        take_us,
        take_pitch,
        np.array([index[row["perf_id"]] if row["label"] == "match" else -1 for row in planned]),
    )


def spoil(
    rng: np.random.Generator, clean: Performance, *, missing: float = 0.15, extra: float = 0.15, wrong: float = 0.10
) -> Performance:
    """The performance with notes left out, strays added and keys missed (four in five within two semitones)."""
    count = clean.take_us.size
    kept = rng.random(count) >= missing
    place = np.cumsum(kept) - 1
    pitch = clean.take_pitch[kept].copy()
    slip = np.flatnonzero(rng.random(pitch.size) < wrong)
    near = rng.choice([-2, -1, 1, 2], slip.size)
    far = rng.integers(3, 13, slip.size) * rng.choice([-1, 1], slip.size)
    pitch[slip] = np.clip(pitch[slip] + np.where(rng.random(slip.size) < 0.8, near, far), 0, 127)
    strays = int(rng.binomial(count, extra))
    when = rng.integers(int(clean.take_us.min()), int(clean.take_us.max()) + 1, strays)
    keys = np.clip(rng.choice(clean.take_pitch, strays) + rng.integers(-4, 5, strays), 0, 127)
    take_us = np.concatenate([clean.take_us[kept], when])
    take_pitch = np.concatenate([pitch, keys])
    order = np.argsort(take_us, kind="stable")
    back = np.empty(order.size, np.int64)
    back[order] = np.arange(order.size)
    answered = (clean.truth >= 0) & kept[clean.truth]
    truth = np.where(answered, back[place[clean.truth]], -1)
    return replace(clean, take_us=take_us[order], take_pitch=take_pitch[order], truth=truth)


def pair_f1(truth: IntArray, match: IntArray) -> float:
    """F1 of the pairs: twice those right over those given and those there."""
    right = np.sum((truth >= 0) & (truth == match))
    return float(2 * right / max(np.sum(truth >= 0) + np.sum(match >= 0), 1))
