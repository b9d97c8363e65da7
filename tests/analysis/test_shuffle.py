"""Swung sixteenths: right slots, the ratio, and straight parts that are not called swung."""

import numpy as np
import pytest

from heeltap.analysis.quantise import quantise
from heeltap.model.subdivisions import DIVISIONS, SIXTEENTH
from tests.bench.bench_offbeats import played_us
from tests.bench.bench_shuffle import STYLES, part_of, reading


@pytest.mark.parametrize("style", ["hip-hop", "funk", "half-time shuffle", "six-eight"])
@pytest.mark.parametrize("ratio", [1.5, 2.0])
def test_swung_sixteenths_are_read(style: str, ratio: float, rng: np.random.Generator) -> None:
    """At least 98 % of the strokes in their slot, the swing told as that of sixteenths; three takes give its ratio."""
    takes = [reading(style, ratio, 92.0, -15.0, rng) for _ in range(3)]
    swings = [found.swing for _, found in takes if found.swing is not None]

    assert min(right for right, _ in takes) >= 0.98
    assert {"sixteenth"} == {swing.unit for swing in swings}
    assert abs(float(np.median([swing.ratio for swing in swings])) - ratio) < 0.2


@pytest.mark.parametrize("style", list(STYLES))
def test_straight_sixteenths_do_not_swing(style: str, rng: np.random.Generator) -> None:
    """Three straight takes: every slot right, no swing."""
    for bpm in (70.0, 92.0, 110.0):
        right, found = reading(style, 1.0, bpm, 10.0, rng)

        assert right >= 0.98
        assert found.swing is None


def test_late_sixteenths_of_a_shuffle_are_sixteenths(rng: np.random.Generator) -> None:
    """They keep their name, and their offsets are those from the swung slot: nobody is blamed for the shuffle."""
    meant, which = part_of("funk", 1.8, rng)
    found = quantise(played_us(meant, 92.0, 0.0, rng).astype(np.int64), 92.0, "4/4")
    late = which % 2 == 1

    assert {"sixteenth"} == {DIVISIONS[code] for code in found.division[late & found.placed]}
    assert np.mean(found.division[~late & found.placed] == SIXTEENTH) < 0.01
    assert abs(float(found.offset_ms[late].mean() - found.offset_ms[~late].mean())) < 4.0


@pytest.mark.slow
def test_the_ratio_over_many_takes(rng: np.random.Generator) -> None:
    """Hip-hop, funk, half-time shuffle and 6/8 at 1.35 to 2.2 to 1: .98 right, median error of the ratio at most .1."""
    for style in ("hip-hop", "funk", "half-time shuffle", "six-eight"):
        rights, errors = [], []
        for ratio in (1.35, 1.6, 1.9, 2.2):
            for _ in range(5):
                right, found = reading(style, ratio, rng.uniform(60, 116), rng.uniform(-40, 40), rng)
                rights.append(right)
                errors += [abs(found.swing.ratio - ratio)] if found.swing else []

        assert np.mean(rights) >= 0.98, style
        assert np.median(errors) <= 0.1, style
        assert len(errors) >= 16, style
