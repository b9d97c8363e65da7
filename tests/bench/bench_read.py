"""Reading MIDI files: heeltap against mido, notes a second on the same files, processor time, best of five.

Run: ``python -m tests.bench.bench_read``. Two pairs are timed, since the programs divide the work differently:

* parse only: `TrackReader` over all chunks (bytes to events) against ``mido.MidiFile(path)``;
* onsets: `read_midi` (tempo map, times, releases, parts, warnings) against ``mido.MidiFile(path)`` and a loop over
  its merged tracks that adds up seconds.

The onsets of both must agree to 1 us a tempo change that mido adds up; the largest difference is printed.
"""

import os
import sys
import tempfile
import time
import timeit
from collections.abc import Callable
from pathlib import Path

import mido
import numpy as np
import pytest

from heeltap.files.smf import read_midi
from heeltap.files.smf.chunks import read_header, read_tracks, unwrap
from heeltap.files.smf.notices import Notices
from tests.conftest import _outside
from tests.makers.midi_bytes import song


def _ours_parse(path: str) -> None:
    notices = Notices()
    data, start = unwrap(Path(path).read_bytes(), path, notices)
    read_tracks(data, read_header(data, start, path, notices), notices)


def _mido_onsets(path: str) -> list[float]:
    at, onsets = 0.0, []
    for message in mido.MidiFile(path):
        at += message.time
        if message.type == "note_on" and message.velocity:
            onsets.append(at)
    return onsets


def _best_s(works: list[Callable[[str], object]], paths: list[str], *, again: int, rounds: int = 5) -> list[float]:
    """Least processor seconds of each work over the files; the works take turns, so that all meet the same load."""

    def once(work: Callable[[str], object]) -> float:
        return timeit.timeit(lambda: [work(path) for path in paths], timer=time.process_time, number=again) / again

    return np.min([[once(work) for work in works] for _ in range(rounds)], axis=0).tolist()


def _compare(name: str, paths: list[str]) -> None:
    notes, worst_us = 0, 0.0
    for path in paths:
        ours, theirs = read_midi(path).onset_us, np.array(_mido_onsets(path)) * 1e6
        if ours.size != theirs.size:
            raise SystemExit(f"{path}: {ours.size} notes here, {theirs.size} in mido")
        notes += ours.size
        worst_us = max(worst_us, float(np.max(np.abs(ours - theirs), initial=0.0)))
    works = [_ours_parse, read_midi, mido.MidiFile, _mido_onsets]
    parse, full, mido_parse, mido_full = _best_s(works, paths, again=max(1, 4_000 // notes))
    columns = (
        f"{name:24} {len(paths):3} files {notes:7} notes",
        f"parse {notes / parse:9.0f}/s, {mido_parse / parse:5.1f} x mido",
        f"onsets {notes / full:9.0f}/s, {mido_full / full:5.1f} x mido, {mido_parse / full:5.1f} x mido's parse",
        f"largest difference {worst_us:.2f} us",
    )
    print(" | ".join(columns))


def main() -> None:
    """Print one line a kind of file."""
    rng = np.random.default_rng(7)
    with tempfile.TemporaryDirectory() as folder:
        for name, data in (
            ("one track, 20,000 notes", song(rng, tracks=1, notes=20_000)),
            ("8 tracks, 40,000 notes", song(rng, tracks=8, notes=5_000, tempi=2)),
            ("running status, 40,000", song(rng, tracks=8, notes=5_000, running=True)),
            ("2,000 tempo changes", song(rng, tracks=2, notes=10_000, tempi=2_000)),
            ("short take, 200 notes", song(rng, tracks=1, notes=200)),
        ):
            path = os.path.join(folder, name)
            Path(path).write_bytes(data)
            _compare(name, [path])
    try:
        outside = _outside("data")
    except pytest.skip.Exception as skipped:
        print(skipped, file=sys.stderr)
        return
    for group in sorted({path.parent for path in outside.rglob("*.mid")}):
        _compare(str(group.relative_to(outside)), sorted(map(str, group.glob("*.mid"))))


if __name__ == "__main__":
    main()
