"""Make the demo: an invented song for drums, bass and keys, and eight invented takes of its keys, the same bytes every time.

Run ``python demo/make_demo.py [FOLDER]``; without a folder the files are written beside this script.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
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

BASS = (0.0, 1.5, 2.0, 3.5)

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


def bass_rows() -> Iterator[Row]:
    """The bass part as written."""
    for bar in range(1, BARS + 1):
        root = CHORDS[ROUND[(bar - 1) % 4]][0] - 12
        for at in BASS:
            yield 4 * (bar - 1) + at, root, 84


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


@dataclass(frozen=True)
class Player:
    """How a take is played; times in milliseconds, minus is early."""

    spread: float
    rush: float = 0.0
    """Reached at the end of the bar before each chorus, and gone two bars into it."""
    backbeat: float = 0.0
    """Added on beats two and four."""
    tires: float = 1.0
    """How many times as wide the spread is at the end of the song."""


TAKES = (
    Player(9.0, rush=-36.0, backbeat=-16.0),
    Player(9.0, rush=-32.0),
    Player(8.5, rush=-34.0),
    Player(8.5, rush=-30.0),
    Player(8.0, rush=-28.0),
    Player(5.5),
    Player(5.5),
    Player(7.0, tires=2.6),
)
"""The player runs into both choruses until take 6, is at his best in 6 and 7, and tired in 8."""


def player(rows: list[Row], rng: np.random.Generator, how: Player) -> np.ndarray:
    """Offsets of a take in microseconds: a slow wander, some noise, and what the player does."""
    strokes = sorted({row[0] for row in rows})
    wander, offset = 0.0, {}
    for at in strokes:
        wander = 0.9 * wander + rng.normal(0, np.sqrt(1 - 0.81))
        spread = how.spread * (1 + (how.tires - 1) * at / (4 * BARS))
        stray = spread * (0.6 * wander + 0.8 * rng.normal())
        beat = how.backbeat if at % 2 == 1 else 0.0
        offset[at] = 4.0 + stray + beat + how.rush * rushing(at)
    return np.array([round(1000 * (offset[row[0]] + rng.normal(0, 2.5))) for row in rows])


def rushing(at: float) -> float:
    """The share of the rush at a position in quarter notes: it grows over the last bar before a chorus."""
    bar = int(at // 4) + 1
    choruses = [first for name, first in SECTIONS.items() if name.startswith("chorus")]
    if bar + 1 in choruses:
        return 0.5 + at % 4 / 8
    if bar in choruses:
        return 1 - at % 4 / 8
    return 0.5 - at % 4 / 8 if bar - 1 in choruses else 0.0


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
    """Write the song and its takes."""
    keys, drums, bass = list(keys_rows()), list(drum_rows()), list(bass_rows())
    still = np.zeros(len(keys), np.int64)
    drum_rng = np.random.default_rng(96)
    swing = np.round(drum_rng.normal(0, 1500, size=len(drums))).astype(np.int64)
    song = [
        TrackOut(table(drums, swing, channel=9), name="drums"),
        TrackOut(table(keys, still, channel=0), name="keys", program=4),
        TrackOut(table(bass, np.zeros(len(bass), np.int64), channel=1), name="bass", program=33),
    ]
    write(folder / "tollgate-road.mid", song)
    for number, how in enumerate(TAKES, 1):
        rng = np.random.default_rng(100 + number)
        rows = slips(keys, rng, 3)
        take = table(rows, player(rows, rng, how), channel=0)
        write(folder / f"tollgate-road-take-{number}.mid", [TrackOut(take, name="keys", program=4)])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
