"""A whole drill from outside: a player process sends notes at known times into ``heeltap drill --no-screen``.

The player hears the first click of the count-in, then plays notes at times of its own, each written down as it leaves.
When the drill is over, the notes of the take that it kept are laid beside them. Printed: notes received of notes sent,
and how far the offsets are off the truth, around their median (the route's constant delay is no error; it is printed
too).

``python -m tests.bench.live.bench_drill [--notes 500] [--periods 16 128] [--exercise "anchor 2"]``
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from heeltap.engine.records import NOT_SENT_US
from heeltap.files.takes.folder import JOURNAL, list_takes, load_take
from heeltap.files.takes.journal import read_journal
from tests.engine.jack_player import Player
from tests.engine.jack_server import Server

SPACING_US = 60_000


def one_drill(server: Server, exercise: str, tempo: str, notes: int, home: Path) -> tuple[list[int], str]:
    """Play one drill: when the notes left, and the command's JSON."""
    rng = np.random.default_rng(notes)
    player = Player(server.environment)
    try:
        environment = os.environ | server.environment | {"HEELTAP_HOME": str(home), "HEELTAP_MIDI_API": "jack"}
        words = [*exercise.split(), "--tempo", tempo, "--in", "robot:out", "--out", "robot-ear:in"]
        gaps_us = np.where(rng.random(notes) < 0.2, 900, rng.uniform(0.4, 1.6, notes) * SPACING_US)
        player.play((np.cumsum(gaps_us) * 1000).astype(np.int64).tolist(), [60] * notes, from_first_click=True)
        done = subprocess.run(
            [sys.executable, "-m", "heeltap", "drill", *words, "--no-screen", "--json", "-"],
            capture_output=True,
            text=True,
            env=environment,
            check=False,
        )
        if done.returncode:
            raise SystemExit(f"heeltap drill ended with {done.returncode}: {done.stderr}")
        sent_ns, _ = player.finish()
    finally:
        player.stop()
    return sent_ns, done.stdout


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--notes", type=int, default=500)
    parser.add_argument(
        "--periods", type=int, nargs="+", default=[16, 128], help="the server's frames a turn at 48 kHz"
    )
    parser.add_argument("--exercise", default="anchor 2", help="what is drilled; must last longer than the notes")
    parser.add_argument("--tempo", default="60")
    options = parser.parse_args()
    for period in options.periods:
        with Server(period=period) as server, tempfile.TemporaryDirectory() as folder:
            home = Path(folder)
            sent_ns, text = one_drill(server, options.exercise, options.tempo, options.notes, home)
            (take,) = [load_take(path) for path in list_takes(home / "takes")]
            journal = read_journal(take.folder / JOURNAL)
            stamp_ns = journal.zero_ns + take.notes.onset_us * 1000
            load = ", ".join(f"{x:.1f}" for x in os.getloadavg()[:2])
            print(f"JACK period {period} ({period / 48:.2f} ms), load {load}, {journal.header['scheduler']}")
            print(f"  received {len(stamp_ns)} of {len(sent_ns)} notes sent")
            if len(stamp_ns) == len(sent_ns):
                delay_ms = (stamp_ns - np.array(sent_ns)) / 1e6
                off = np.abs(delay_ms - np.median(delay_ms))
                p50, p95, p99, worst = np.percentile(off, [50, 95, 99, 100])
                print(f"  route's delay {np.median(delay_ms):.3f} ms (median)")
                print(f"  offset error, ms: median {p50:.3f}, p95 {p95:.3f}, p99 {p99:.3f}, max {worst:.3f}")
            sent = journal.click_sent_us != NOT_SENT_US
            late = (journal.click_sent_us - journal.click_due_us)[sent] / 1000
            print(
                f"  clicks {late.size} of {sent.size}, lateness p99 {np.percentile(late, 99):.3f} ms, max {late.max():.3f}"
            )
            print(f"  the result counts {json.loads(text)['counts']}")


if __name__ == "__main__":
    main()
