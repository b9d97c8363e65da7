"""How late clicks leave and how far stamps are off, ours beside the way one would write it first, on the same machine
and route.

A player process sends notes at known times through a JACK server without hardware. Both sides play a click of as many
clicks and draw the same busy screen. Printed: lateness of the clicks against their deadlines; deviation of the stamps
from the moments at which the player sent, around their median (the route's own delay is no error); notes lost. Nothing
is asserted: judge by p99 and by the ratio, not by a maximum; a shared machine has holes of 5-30 ms.

``python -m tests.bench.live.bench_engine [--events 2000] [--periods 16 128] [--nice -5]``
"""

import argparse
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.engine.jack_player import Player
from tests.engine.jack_server import Server

SPACING_US = 40_000
"""Mean time between notes, and between clicks."""


def one_side(server: Server, module: str, events: int, seed: int, *extra: str) -> tuple[dict[str, Any], list[int]]:
    """One run of one side: what it says, and when the notes were sent."""
    rng = np.random.default_rng(seed)
    player = Player(server.environment)
    try:
        arguments = [str(events), str(SPACING_US), str(events * SPACING_US / 1e6), *extra]
        side = subprocess.Popen(
            [sys.executable, "-m", f"tests.bench.live.{module}", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=os.environ | server.environment,
        )
        assert side.stdout is not None
        word, zero_ns = side.stdout.readline().split()
        assert word == "zero"
        # A fifth of the notes come within a millisecond of the one before, as in chords.
        gaps_us = np.where(rng.random(events) < 0.2, 900, rng.uniform(0.4, 2.0, events) * SPACING_US)
        gaps_us *= SPACING_US / np.mean(gaps_us)
        player.play((int(zero_ns) + np.cumsum(gaps_us * 1000).astype(np.int64)).tolist(), [60] * events)
        sent_ns, _ = player.finish()
        last = side.stdout.read().strip().splitlines()[-1]
        side.wait(30)
    finally:
        player.stop()
    return json.loads(last), sent_ns


def deviation_ms(stamp_ns: Sequence[int], sent_ns: Sequence[int]) -> tuple[np.ndarray, int, float]:
    """Distance of each stamp from its note's sending, around the median, ms; how many notes have no stamp; and how far
    the medians of the take's four quarters lie apart, ms: whether the bias is constant."""
    lost = len(sent_ns) - len(stamp_ns)
    sent = np.array(sent_ns)
    stamps = np.array(stamp_ns)
    if lost:  # without all of them the n-th stamp is not the n-th note: take the latest sent before each
        sent = sent[np.maximum(np.searchsorted(sent, stamps, side="right") - 1, 0)]
    delay = (stamps - sent) / 1e6
    quarters = [np.median(part) for part in np.array_split(delay, 4)]
    return np.abs(delay - np.median(delay)), lost, float(max(quarters) - min(quarters))


def row(name: str, values_ms: np.ndarray) -> str:
    """One line of the table."""
    p50, p95, p99, worst = np.percentile(values_ms, [50, 95, 99, 100])
    return f"  {name:<44}{p50:9.3f}{p95:9.3f}{p99:9.3f}{worst:9.2f}"


def main() -> None:
    """Run all and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--events", type=int, default=2000, help="notes and clicks of each run")
    parser.add_argument(
        "--periods", type=int, nargs="+", default=[16, 128], help="the server's frames a turn at 48 kHz"
    )
    parser.add_argument("--nice", type=int, default=0, help="added to the niceness of everything")
    parser.add_argument(
        "--sides", nargs="+", default=["naive", "ordinary", "real"], help="which to run, by a word of the name"
    )
    options = parser.parse_args()
    os.nice(options.nice)
    sides = [
        ("naive", "naive", ()),
        ("engine, ordinary scheduling", "engine_side", ("0",)),
        ("engine, real time asked for", "engine_side", ("1",)),
    ]
    sides = [side for side in sides if any(word in side[0] for word in options.sides)]
    for period in options.periods:
        with Server(period=period) as server:
            turn = f"JACK period {period} ({period / 48:.2f} ms), server real-time: {server.real_time}"
            print(f"\n{turn}, {options.events} events")
            print(f"  {'ms':<44}{'p50':>9}{'p95':>9}{'p99':>9}{'max':>9}")
            p99: dict[str, tuple[float, float]] = {}
            for seed, (name, module, extra) in enumerate(sides):
                answer, sent = one_side(server, module, options.events, seed, *extra)
                late = np.abs(np.array(answer["late_us"])) / 1000
                stamps, lost, moved = deviation_ms(answer["stamp_ns"], sent)
                print(row(f"{name}: click lateness", late))
                print(row(f"{name}: stamp deviation", stamps))
                if "live_ns" in answer:
                    print(row(f"{name}: live stamp deviation", deviation_ms(answer["live_ns"], sent)[0]))
                load = ", ".join(f"{x:.1f}" for x in os.getloadavg()[:2])
                print(
                    f"    lost {lost} of {len(sent)}; bias moves by {moved:.3f} ms; load {load}; {answer.get('scheduler', '')}"
                )
                p99[name] = (float(np.percentile(late, 99)), float(np.percentile(stamps, 99)))
            for name in list(p99)[1:] if "naive" in p99 else []:
                ratios = [p99["naive"][i] / max(p99[name][i], 1e-6) for i in range(2)]
                print(f"  naive / {name}, p99: click {ratios[0]:.0f}x, stamp {ratios[1]:.0f}x")


if __name__ == "__main__":
    main()
