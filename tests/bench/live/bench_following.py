"""How often the screen and the result see a stroke alike, over simulated takes of known players.

For each crowd: strokes, and the share seen alike by the light matcher at once (the peer: no second look), when the bar
was shown, and at the end; then what the second look costs. ``python -m tests.bench.live.bench_following [takes] [seed]``
"""

import sys
import time

import numpy as np

from tests.makers.followers import Agreement, agreement
from tests.makers.players import FIGURES, full_range_player, make_part, ordinary_player, play_part, worst_player

CROWDS = (
    ("ordinary", ordinary_player, True),
    ("full range", full_range_player, True),
    ("worst corner", worst_player, True),
    ("ordinary, delay not known", ordinary_player, False),
    ("full range, delay not known", full_range_player, False),
)


def main() -> None:
    """Run and print."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 70
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int(np.random.default_rng().integers(2**31))
    print(f"{takes} takes a crowd of 16 bars at 50-200 bpm, seed {seed}")
    print(f"{'crowd':30s}{'strokes':>8s}{'at once':>10s}{'at the bar':>12s}{'at the end':>12s}{'s a take':>10s}")
    for name, player, calibrated in CROWDS:
        rng, total, began = np.random.default_rng(seed), Agreement(0, 0, 0, 0), time.process_time()
        for row in range(takes):
            part = make_part(rng, FIGURES[row % len(FIGURES)], tempo_bpm=float(rng.uniform(50, 200)))
            total += agreement(part, play_part(rng, part, player(rng)), calibrated=calibrated)
        shares = [100 * count / total.strokes for count in (total.at_once, total.at_the_bar, total.at_the_end)]
        spent = (time.process_time() - began) / takes
        print(f"{name:30s}{total.strokes:8d}{shares[0]:9.2f}%{shares[1]:11.2f}%{shares[2]:11.2f}%{spent:10.2f}")


if __name__ == "__main__":
    main()
