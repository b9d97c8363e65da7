"""How well a clock with a jitter of 2 ms is followed, while playing and afterwards.

Run as ``python -m tests.bench.live.bench_follow``.
"""

import numpy as np

from heeltap.gear.clock_follower import Follow, follow, smooth_clock
from heeltap.model.arrays import as_ints
from tests.makers.clocks import KINDS, clock_times

ROUNDS, COUNT, JITTER_US = 10, 2_400, 2_000.0


def main() -> None:
    """Print root mean square and largest errors in ms, and how often the stated 95 % held."""
    rng = np.random.default_rng(1)
    print("clock    live rms  live max  covered  after rms  after max  naive rms")
    for kind in KINDS:
        times = clock_times(kind, COUNT)
        live, inside, after, naive = [], [], [], []
        for _ in range(ROUNDS):
            heard = times + rng.normal(0, JITTER_US, COUNT)
            state = follow(Follow(), 0xFA, -10_000)
            for at, true_us in zip(np.rint(heard).astype(int).tolist(), times.tolist(), strict=True):
                state = follow(state, 0xF8, at)
                live.append(state.at_us - true_us)
                inside.append(abs(live[-1]) <= 1.96 * state.phase_sd_us)
            after.append((smooth_clock(as_ints(np.rint(heard))) - times)[::24])
            naive.append((heard - times)[::24])
        play = np.array(live).reshape(ROUNDS, COUNT)[:, 48:] / 1000
        covered = np.array(inside).reshape(ROUNDS, COUNT)[:, 48:].mean()
        beats, raw = (np.array(x) / 1000 for x in (after, naive))
        row = [np.sqrt(np.mean(play**2)), np.abs(play).max(), covered, np.sqrt(np.mean(beats**2)), np.abs(beats).max()]
        print(kind.ljust(8), *(f"{value:9.2f}" for value in [*row, np.sqrt(np.mean(raw**2))]))


if __name__ == "__main__":
    main()
