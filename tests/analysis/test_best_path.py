"""Which take for which stretch: as good as trying every way, and never worse than the best take by itself."""

from itertools import pairwise, product

import numpy as np
import pytest

from heeltap.analysis.compare.best_path import best_path
from heeltap.analysis.compare.takes import cost_of, strokes_around
from heeltap.analysis.offsets_of import Judged
from tests.makers.judgements import quarters_table

STRETCHES = [(1, 4), (5, 8), (9, 12), (13, 16)]


def a_take(rng: np.random.Generator, lies_ms: np.ndarray, spread_ms: float = 5.0) -> Judged:
    """Sixteen bars of quarters; each stretch lies to its own side."""
    offset = rng.normal(0, spread_ms, 64) + np.repeat(lies_ms, 16)
    table = quarters_table(offset, rng, tempo_bpm=100.0)
    return Judged(table, None, (), 0, 16)  # type: ignore[arg-type]


def squares(takes: list[Judged], way: tuple[int, ...], middle_ms: float) -> float:
    """What a way costs around a middle."""
    found = 0.0
    for take, (first, last) in zip(way, STRETCHES, strict=True):
        cost = cost_of(strokes_around(takes[take], middle_ms), first, last)
        assert cost is not None
        found += cost.rms_ms**2 * (cost.n + cost.missed)
    return found


def changes(way: tuple[int, ...] | list[int]) -> int:
    """How often the take changes."""
    return sum(a != b for a, b in pairwise(way))


@pytest.mark.parametrize("joins", [0, 1, 2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_it_is_the_best_of_all_ways_around_a_known_middle(joins: int, seed: int) -> None:
    """Every way through three takes and four stretches is tried."""
    rng = np.random.default_rng(seed)
    takes = [a_take(rng, rng.normal(0, 12, 4)) for _ in range(3)]

    found = best_path(takes, STRETCHES, joins, lean_ms=0.0)

    ways = [way for way in product(range(3), repeat=4) if changes(way) <= joins]
    assert changes(found) <= joins
    assert squares(takes, tuple(found), 0.0) == pytest.approx(min(squares(takes, way, 0.0) for way in ways))


@pytest.mark.parametrize("seed", range(12))
def test_an_unknown_delay_makes_no_comp_that_is_worse_than_a_take(seed: int) -> None:
    """Stretches of takes that lie to different sides do not add up to one performance; the middle is shared."""
    rng = np.random.default_rng(seed)
    takes = [a_take(rng, rng.normal(0, 12, 4) + rng.normal(0, 15)) for _ in range(5)]

    found = best_path(takes, STRETCHES, 6, lean_ms=None)

    middles = np.arange(-60, 60, 0.5)
    comp = min(squares(takes, tuple(found), middle) for middle in middles)
    own = [squares(takes, (take,) * 4, float(np.median(takes[take].offsets.offset_ms))) for take in range(5)]
    assert comp <= min(own) + 1e-6


def test_a_take_that_lacks_a_stretch_is_not_used_there() -> None:
    """A punch-in of two stretches."""
    rng = np.random.default_rng(3)
    whole, best = a_take(rng, np.full(4, 30.0)), a_take(rng, np.zeros(4))
    punch = Judged(best.offsets.pick(best.offsets.bar <= 8), None, (), 0, 8)  # type: ignore[arg-type]

    assert [1, 1, 0, 0] == best_path([whole, punch], STRETCHES, 6, lean_ms=0.0)
    assert [0, 0, 0, 0] == best_path([whole, punch], STRETCHES, 0, lean_ms=0.0)
    assert [] == best_path(
        [Judged(best.offsets.pick(best.offsets.bar < 0), None, (), 0, 0)], STRETCHES, 3, lean_ms=None
    )  # type: ignore[arg-type]
