"""The whole answer on a song of three minutes with twelve takes, as a command, against what it cannot do without.

Run: ``python -m tests.bench.bench_song``. Processor seconds of ``heeltap song``, of importing numpy and scipy.special, and of
parsing the same thirteen files with mido; least of three each.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from heeltap.app.song.open_song import guess_song
from heeltap.files.smf import TrackOut, write_midi
from heeltap.files.toml.songs import song_to_toml
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import steady_tempo

BARS, TAKES, QUARTER_US = 75, 12, 600_000
"""Three minutes at 100 bpm."""


def _made(rows: list[tuple[float, int]], late_us: np.ndarray | None = None) -> Notes:
    quarter, key = (np.array(column) for column in zip(*rows, strict=True))
    at = np.rint(quarter * QUARTER_US).astype(np.int64)
    at = at if late_us is None else np.maximum(at + late_us, 0)
    order = np.lexsort((key, at))
    return make_notes(at[order], key[order], np.full(at.size, 85), duration_us=np.full(at.size, 150_000))


def _song(folder: Path, rng: np.random.Generator) -> None:
    """A song and its takes: drums on eighths, chords of three notes on six places of a bar."""
    beats = [(4 * bar + eighth / 2, 42) for bar in range(BARS) for eighth in range(8)]
    beats += [(4 * bar + at, 36 if at in (0, 2) else 38) for bar in range(BARS) for at in range(4)]
    chords = [
        (4 * bar + at, key + bar % 12) for bar in range(BARS) for at in (0, 1, 1.5, 2.5, 3, 3.5) for key in (48, 55, 64)
    ]
    tempo = steady_tempo(100, ticks_per_quarter=480)
    markers = [(4 * QUARTER_US * bar, f"part {bar // 16 + 1}") for bar in range(0, BARS, 16)]
    tracks = [TrackOut(_made(beats), name="drums", channel=9), TrackOut(_made(chords), name="keys", channel=0)]
    write_midi(folder / "song.mid", tracks, tempo=tempo, markers=markers)
    (folder / "song-takes").mkdir()
    for number in range(TAKES):
        late = np.round(1000 * rng.normal(0, 9, len(chords))).astype(np.int64)
        take = [TrackOut(_made(chords, late), name="keys", channel=0)]
        write_midi(folder / "song-takes" / f"take-{number + 1}.mid", take, tempo=tempo)
    song, guesses = guess_song(folder / "song.mid", "keys")
    (folder / "song.song.toml").write_text(song_to_toml(song, guesses), encoding="utf-8")


def _seconds(command: list[str], folder: Path) -> float:
    """Least processor seconds of a command, of three runs."""
    found = []
    for _ in range(3):
        before = os.times()
        subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL)
        after = os.times()
        found.append(after.children_user + after.children_system - before.children_user - before.children_system)
    return min(found)


def main() -> None:
    """Print the seconds and the ratios."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _song(folder, np.random.default_rng(1))
        parse = "import mido, pathlib; [mido.MidiFile(str(p)) for p in pathlib.Path('.').rglob('*.mid')]"
        ours = _seconds([sys.executable, "-m", "heeltap", "song", "song"], folder)
        imports = _seconds([sys.executable, "-c", "import numpy, scipy.special"], folder)
        mido = _seconds([sys.executable, "-c", parse], folder)
        print(f"heeltap song, {TAKES} takes of {BARS} bars: {ours:.2f} s of the processor")
        print(f"  {ours / imports:.1f} times importing numpy and scipy.special ({imports:.2f} s)")
        print(f"  {ours / mido:.1f} times mido's parse of the same files, its start included ({mido:.2f} s)")


if __name__ == "__main__":
    main()
