"""Simulated takes that judgements are checked on: what was planted is known, and so is what should be said of it.

Conventions: milliseconds, negative is early; all randomness comes from the ``rng`` argument.

Inside: `SCORE_TABLE`, `quarters_table`, `score_of`, `mean_score`, `week_of_scores`; `RUSHES`, `rushed_song`, `rushes_listed`;
`week_of_tables`, `told_of_players_who_stay_the_same`.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from heeltap.analysis.compare.progress import progress_over
from heeltap.analysis.score import score
from heeltap.analysis.weak_bars import weak_bars
from heeltap.model.arrays import FloatArray, as_ints
from heeltap.model.offsets import Offsets, Tally
from tests.makers.tables import noise, offsets_table

__all__ = [
    "CLEAN",
    "RANDOM",
    "RUSHES",
    "SCORE_TABLE",
    "mean_score",
    "quarters_table",
    "rushed_song",
    "rushes_listed",
    "score_of",
    "told_of_players_who_stay_the_same",
    "week_of_scores",
    "week_of_tables",
]

CLEAN = Tally(0, 0, 0, 0, 0, 0)
"""Nothing missed, nothing extra."""

RANDOM = (0.0, 0.0)
"""In the table below: strokes anywhere between their places."""

SCORE_TABLE: tuple[tuple[tuple[float, float], float, float], ...] = (
    ((0, 1), 95, 100),
    ((0, 2), 82, 92),
    ((0, 3), 68, 80),
    ((0, 4), 52, 66),
    ((0, 6), 28, 42),
    ((0, 8), 12, 26),
    ((-3, 2), 60, 78),
    ((-6, 2), 18, 38),
    ((-9, 2), 0, 12),
    (RANDOM, -2, 2),
)
"""Average and spread in % of the beat, and between what the score of such a player has to lie."""


def quarters_table(offset_ms: FloatArray, rng: np.random.Generator, *, tempo_bpm: float) -> Offsets:
    """Quarters in 4/4 with the given offsets."""
    return offsets_table(offset_ms, rng, per_bar=4, beat_ms=60_000.0 / tempo_bpm)


def score_of(offset_ms: FloatArray, rng: np.random.Generator, *, tempo_bpm: float) -> int:
    """Score of quarters with the given offsets, lean 0, known delay."""
    value = score(quarters_table(offset_ms, rng, tempo_bpm=tempo_bpm), CLEAN).value
    assert value is not None
    return value


def mean_score(
    player: tuple[float, float], rng: np.random.Generator, *, tempo_bpm: float, takes: int = 40, n: int = 128
) -> float:
    """Mean score of takes with white noise; ``player`` is (average, spread) in % of the beat, or `RANDOM`."""
    beat_ms = 60_000.0 / tempo_bpm
    found = []
    for _ in range(takes):
        average, spread = (0.01 * beat_ms * part for part in player)
        random = player == RANDOM
        offset = rng.uniform(-beat_ms / 2, beat_ms / 2, n) if random else rng.normal(average, spread, n)
        found.append(score_of(offset, rng, tempo_bpm=tempo_bpm))
    return float(np.mean(found))


def week_of_scores(rng: np.random.Generator, *, tempo_bpm: float = 96.0, n: int = 128, kind: str = "ar0") -> FloatArray:
    """Mean score of each of seven days of six takes whose spread goes evenly from 22 to 12 ms."""
    found = [
        score_of(noise(kind, n, rng, sd_ms=spread), rng, tempo_bpm=tempo_bpm) for spread in np.linspace(22.0, 12.0, 42)
    ]
    return np.array(found, dtype=np.float64).reshape(7, 6).mean(axis=1)


RUSHES = ("last bar", "last two bars", "ramp")
"""How a player runs into a change: the last bar 30 ms early, the last two, or growing to 30 ms at the change and back."""


def rushed_song(
    rng: np.random.Generator,
    *,
    rush: str = "last bar",
    early_ms: float = 30.0,
    spread_ms: float = 11.0,
    tempo_bpm: float = 96.0,
    per_bar: int = 8,
    bars: int = 64,
) -> tuple[Offsets, tuple[int, ...]]:
    """A song in four sections whose player wanders and runs into the three changes, and the last bar before each."""
    pos = np.arange(bars * per_bar) / per_bar
    offset = noise("wander", pos.size, rng, sd_ms=spread_ms)
    changes = [bars // 4 * part for part in (1, 2, 3)]
    for change in changes:
        away = pos - change
        reach = {"last bar": 1, "last two bars": 2, "ramp": 0}[rush]
        ahead = (
            np.clip(1 - np.abs(away), 0, 1) if rush == "ramp" else ((away >= -reach) & (away < 0)).astype(np.float64)
        )
        offset = offset - early_ms * ahead
    table = offsets_table(offset, rng, per_bar=per_bar, sections=4, beat_ms=60_000.0 / tempo_bpm)
    return table, tuple(changes)


def rushes_listed(rng: np.random.Generator, *, takes: int = 16, **song: Any) -> int:
    """How many of three rushes a take are among the bars to play again, in the list or in the line behind it."""
    found = 0
    for _ in range(takes):
        table, changes = rushed_song(rng, **song)
        listed = weak_bars(table, as_ints([]), centre_ms=0.0)
        named = {bar for one in listed.entries for bar in range(one.first_bar, one.last_bar + 1)}
        named |= set(listed.more.bars if listed.more else ())
        # A ramp is as early after the change as before it.
        found += sum(bar in named or (song.get("rush") == "ramp" and bar + 1 in named) for bar in changes)
    return found


def week_of_tables(
    spreads_ms: Sequence[float],
    rng: np.random.Generator,
    *,
    rush_ms: Sequence[float] | None = None,
    bias_ms: Sequence[float] | None = None,
    kind: str = "wander",
    n: int = 128,
    tempi_bpm: Sequence[float] = (96.0,),
) -> list[Offsets]:
    """Takes one after the other with these spreads, runs into changes and averages; tempi come round in turn."""
    found = []
    for index, spread_ms in enumerate(spreads_ms):
        table = quarters_table(noise(kind, n, rng, sd_ms=spread_ms), rng, tempo_bpm=tempi_bpm[index % len(tempi_bpm)])
        offset = table.offset_ms + (0.0 if bias_ms is None else bias_ms[index])
        if rush_ms is not None:
            offset = np.where(table.bars_to_change == 1, offset - rush_ms[index], offset)
        found.append(replace(table, offset_ms=offset))
    return found


def told_of_players_who_stay_the_same(
    rng: np.random.Generator, *, takes: int, kind: str, players: int = 100, day_to_day: float = 0.1
) -> float:
    """Share of players without any change, whose days differ a little, that are told of one."""
    wrong = 0
    for _ in range(players):
        spreads = 14.0 * np.exp(rng.normal(0, day_to_day, takes))
        found = progress_over(
            week_of_tables(spreads.tolist(), rng, bias_ms=rng.normal(0, 4, takes).tolist(), kind=kind)
        )
        wrong += found.best is not None or any(trend.told for trend in found.trends)
    return wrong / players
