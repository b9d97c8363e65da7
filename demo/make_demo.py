"""Make the demo: an invented song and two invented takes of its keyboard part, the same bytes every time.

Run ``python demo/make_demo.py [FOLDER]``; without a folder the files are written beside this script.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from heeltap.files.smf import TrackOut, write_midi
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import steady_metre, steady_tempo

BPM = 96.0
BAR_US = 4 * 60_000_000 // 96
SECTIONS = {"intro": 1, "verse": 5, "chorus": 13, "verse 2": 21, "chorus 2": 29, "ending": 37}
BARS = 40

CHORDS = {"C": (48, 64, 67), "Am": (45, 60, 64), "F": (41, 60, 65), "G": (43, 59, 62)}
ROUND = ("C", "Am", "F", "G")

# Strokes of a bar in quarter notes.
VERSE = (0.0, 1.0, 2.5, 3.0)
CHORUS = (0.0, 1.0, 1.5, 2.5, 3.0, 3.5)
FILL = (0.0, 1.0, 2.0, 2.5, 3.0, 3.25, 3.5, 3.75)

KICK, SNARE, HAT = 36, 38, 42

Row = tuple[float, int, int]
"""Position in quarter notes, key, velocity."""


def section_of(bar: int) -> str:
    """Name of the section that a bar lies in."""
    return max((name for name in SECTIONS if SECTIONS[name] <= bar), key=lambda name: SECTIONS[name])


def runs_into_change(bar: int) -> bool:
    """True in the last bar of a section."""
    return bar + 1 in SECTIONS.values()


def keys_rows() -> Iterator[Row]:
    """The keyboard part as written."""
    for bar in range(1, BARS + 1):
        chord = CHORDS[ROUND[(bar - 1) % 4]]
        busy = CHORUS if section_of(bar).startswith("chorus") else VERSE
        for at in FILL if runs_into_change(bar) else busy:
            strong = at in (1.0, 3.0)
            run = runs_into_change(bar) and at >= 2.0
            for key in (chord[round(at * 4) % 3] + 12,) if run else chord:
                yield 4 * (bar - 1) + at, key, 92 if strong else 76


def drum_rows() -> Iterator[Row]:
    """The drum part as written."""
    for bar in range(1, BARS + 1):
        for eighth in range(8):
            at = 4 * (bar - 1) + eighth / 2
            yield at, HAT, 70 if eighth % 2 == 0 else 55
            if eighth in (0, 4) or (eighth == 5 and bar % 2 == 0):
                yield at, KICK, 100
            if eighth in (2, 6):
                yield at, SNARE, 105


def table(rows: list[Row], offset_us: np.ndarray, *, channel: int) -> Notes:
    """The rows as notes, each moved by its offset."""
    at = np.array([round(row[0] * BAR_US / 4) for row in rows]) + offset_us
    order = np.argsort(at, kind="stable")
    return make_notes(
        np.maximum(at, 0)[order],
        np.array([row[1] for row in rows])[order],
        np.clip([row[2] for row in rows], 1, 127)[order],
        channel=channel,
        duration_us=np.full(len(rows), 180_000),
    )


def player(rows: list[Row], rng: np.random.Generator, *, rush_ms: float, spread_ms: float) -> np.ndarray:
    """Offsets of a take in microseconds: a slow wander, some noise, and a run into every section change.

    The run grows over the last bar of a section to ``rush_ms`` early and is gone two bars into the new one.
    """
    strokes = sorted({row[0] for row in rows})
    wander, offset = 0.0, {}
    for at in strokes:
        wander = 0.9 * wander + rng.normal(0, np.sqrt(1 - 0.81))
        stray = spread_ms * (0.8 * wander + 0.6 * rng.normal())
        bar = int(at // 4) + 1
        ahead = 0.0
        if runs_into_change(bar):
            ahead = rush_ms * (0.5 + at % 4 / 8)
        elif bar in SECTIONS.values() and bar > 1:
            ahead = rush_ms * (1 - at % 4 / 8)
        elif bar - 1 in SECTIONS.values() and bar > 2:
            ahead = rush_ms * (0.5 - at % 4 / 8)
        offset[at] = 4.0 + stray - ahead
    return np.array([round(1000 * (offset[row[0]] + rng.normal(0, 2.5))) for row in rows])


def slips(rows: list[Row], rng: np.random.Generator, count: int) -> list[Row]:
    """The rows with a few notes left out and a few on the neighbouring key."""
    chosen = rng.choice(len(rows), size=2 * count, replace=False)
    gone, wrong = set(chosen[:count].tolist()), set(chosen[count:].tolist())
    return [(at, key + 1 if i in wrong else key, loud) for i, (at, key, loud) in enumerate(rows) if i not in gone]


def write(path: Path, tracks: list[TrackOut], *, markers: bool = True) -> None:
    """One file of the demo."""
    places = [((bar - 1) * BAR_US, name) for name, bar in SECTIONS.items()] if markers else []
    tempo = steady_tempo(BPM, ticks_per_quarter=480)  # as most sequencers write
    write_midi(path, tracks, tempo=tempo, metre=steady_metre(), markers=places, name="Tollgate Road")


def main(folder: Path) -> None:
    """Write the three files."""
    keys, drums = list(keys_rows()), list(drum_rows())
    still = np.zeros(len(keys), np.int64)
    drum_rng = np.random.default_rng(96)
    swing = np.round(drum_rng.normal(0, 1500, size=len(drums))).astype(np.int64)
    song = [
        TrackOut(table(drums, swing, channel=9), name="drums"),
        TrackOut(table(keys, still, channel=0), name="keys", program=4),
    ]
    write(folder / "tollgate-road.mid", song)
    for number, rush_ms, spread_ms in ((1, 38.0, 9.0), (2, 16.0, 8.0)):
        rng = np.random.default_rng(100 + number)
        rows = slips(keys, rng, 3)
        take = table(rows, player(rows, rng, rush_ms=rush_ms, spread_ms=spread_ms), channel=0)
        write(folder / f"tollgate-road-take-{number}.mid", [TrackOut(take, name="keys", program=4)])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
