"""Real drummers compared with themselves: there is nothing to find, so (nearly) nothing may be said.

Each recorded groove is dealt into two made-up takes, block of four bars by block of four bars, by a coin for each pair of
neighbouring blocks. Both "takes" are by one player on one day, with all the habits that simulated noise lacks.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.analyse import judge_take
from heeltap.analysis.compare.takes import versus
from heeltap.app.score.read import read_take
from heeltap.model.offsets import Offsets

BLOCK = 4


def dealt(table: Offsets, rng: np.random.Generator) -> tuple[Offsets, Offsets]:
    """Two takes of half the bars, the bars of each counted as if nothing lay between."""
    block = (table.bar - 1) // BLOCK
    whole = block < 2 * ((int(block.max()) + 1) // 2)
    coin = rng.integers(0, 2, int(block.max()) + 2)
    side = (block + coin[block // 2]) % 2
    renumbered = replace(table, bar=(block // 2) * BLOCK + (table.bar - 1) % BLOCK + 1)
    return renumbered.pick(whole & (side == 0)), renumbered.pick(whole & (side == 1))


@pytest.mark.slow
@pytest.mark.outside
def test_one_drummer_is_not_tighter_than_himself(outside_data: Path) -> None:
    """Forty deals of each of the 17 recorded grooves: at most 5 % are called tighter, at most 2 % better."""
    rng = np.random.default_rng(16)
    tighter, better = [], []
    for file in sorted((outside_data / "groove").glob("*.mid")):
        table = judge_take(read_take(file))[0].offsets
        for _ in range(40):
            found = versus(*dealt(table, rng), same_plan=False)
            tighter.append(found.tighter is not None)
            better.append(found.better is not None)

    assert len(tighter) == 17 * 40
    assert np.mean(tighter) <= 0.05
    assert np.mean(better) <= 0.02
