"""An invented song of sixteen bars for drums and keys, and takes of its keys with planted faults."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from heeltap.app.song.open_song import guess_song
from heeltap.files.smf import TrackOut, write_midi
from heeltap.files.toml.songs import song_to_toml
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import TempoMap, steady_metre

__all__ = ["BARS", "BPM", "SECTIONS", "drum_notes", "key_notes", "played", "write_song", "write_take"]

BPM, BARS = 100, 16
QUARTER_US = 60_000_000 // BPM
SECTIONS = {"verse": 1, "chorus": 5, "verse 2": 9, "chorus 2": 13}

_STROKES = (0.0, 1.0, 2.5, 3.0)
_DRUMMER_MS = 6.0
"""The drummer is late by so much in the second half."""


def _tempo(ticks: int) -> TempoMap:
    return TempoMap(ticks, np.array([0]), np.array([QUARTER_US]))


def drum_notes() -> Notes:
    """Kick, snare and hat; the choruses have more kicks and another cymbal."""
    rows = []
    for bar in range(BARS):
        chorus = bar // 4 % 2 == 1
        late_us = round(1000 * _DRUMMER_MS) if bar >= BARS // 2 else 0
        for eighth in range(8):
            at = (4 * bar + eighth / 2) * QUARTER_US + late_us
            rows.append((at, 51 if chorus else 42))
            if eighth in (0, 4) or (chorus and eighth in (3, 5, 7)):
                rows.append((at, 36))
            if eighth in (2, 6):
                rows.append((at, 38))
    rows.sort()
    at, key = (np.array(column).astype(np.int64) for column in zip(*rows, strict=True))
    return make_notes(at, key, np.full(at.size, 90), duration_us=np.full(at.size, 40_000))


def key_notes() -> Notes:
    """Four strokes a bar; no two bars have the same keys."""
    quarter = np.array([4 * bar + at for bar in range(BARS) for at in _STROKES])
    key = np.array([48 + (5 * bar + 3 * (bar // 7)) % 23 for bar in range(BARS) for _ in _STROKES])
    at = np.rint(quarter * QUARTER_US).astype(np.int64)
    return make_notes(at, key, np.full(at.size, 80), duration_us=np.full(at.size, 200_000))


def played(
    rng: np.random.Generator, spread_ms: float = 6.0, fault: Callable[[np.ndarray], np.ndarray] | None = None
) -> Notes:
    """The keys as somebody plays them to these drums; ``fault`` gives ms to add for each stroke's bar, from 1."""
    keys = key_notes()
    bar = keys.onset_us // (4 * QUARTER_US) + 1
    late_ms = rng.normal(0, spread_ms, len(keys)) + np.where(bar > BARS // 2, _DRUMMER_MS, 0.0)
    if fault is not None:
        late_ms = late_ms + fault(bar)
    at = np.maximum(keys.onset_us + np.round(1000 * late_ms).astype(np.int64), 0)
    return make_notes(at, keys.pitch, keys.velocity, duration_us=keys.duration_us)


def write_song(folder: Path, *, markers: bool = True, ticks: int = 480) -> Path:
    """``harbour.mid`` and its song file, whose path comes back; the folder of takes is made."""
    named = [(4 * (bar - 1) * QUARTER_US, name) for name, bar in SECTIONS.items()] if markers else []
    tracks = [TrackOut(drum_notes(), name="drums", channel=9), TrackOut(key_notes(), name="keys", channel=0)]
    write_midi(folder / "harbour.mid", tracks, tempo=_tempo(ticks), metre=steady_metre(), markers=named)
    song, guesses = guess_song(folder / "harbour.mid", "keys")
    path = folder / "harbour.song.toml"
    path.write_text(song_to_toml(song, guesses), encoding="utf-8")
    (folder / song.takes).mkdir()
    return path


def write_take(
    path: Path, *tracks: Notes, ticks: int = 480, names: tuple[str, ...] = ("keys",), **more: object
) -> Path:
    """A take file, a track for each of the notes."""
    out = [TrackOut(notes, name=name, channel=0) for notes, name in zip(tracks, names, strict=True)]
    write_midi(path, out, tempo=_tempo(ticks), metre=steady_metre(), **more)
    return path
