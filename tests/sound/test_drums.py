"""A drummer as messages."""

import numpy as np

from heeltap.course.drum_patterns import Hits
from heeltap.model.arrays import as_ints
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from heeltap.sound.drums import hits_schedule, part_schedule


def test_strokes_fall_on_their_ticks_and_are_let_go() -> None:
    """Times come from the tempo once each; channel and loudness are settable; every stroke has its note-off."""
    hits = Hits(as_ints([0, 5_040, 10_080]), as_ints([36, 42, 38]), np.array([1.0, 0.5, 0.9]))
    schedule = hits_schedule(hits, steady_tempo(100), 2_400_000, channel=2, loudest=100)
    struck = [
        (at, m) for at, m, kind in zip(schedule.due_us, schedule.messages, schedule.kind, strict=True) if kind == "drum"
    ]

    assert [(0, b"\x92\x24\x64"), (300_000, b"\x92\x2a\x32"), (600_000, b"\x92\x26\x5a")] == struck
    assert 3 == schedule.kind.count("off")


def test_part_keeps_its_lengths_and_ends_with_the_plan() -> None:
    """A stroke on a sounding key lets it go first; what lies after the plan's end is left out; a level of 0 is silence."""
    part = make_notes(
        [0, 100_000, 200_000, 900_000], [46, 46, 42, 36], [90, 80, 70, 60], duration_us=[500_000, 50_000, -1, 9]
    )
    rows = part_schedule(part, 900_000)
    quiet = part_schedule(part, 900_000, level=np.array([1.0, 0.5, 0.0, 1.0]))

    assert [0, 100_000, 100_000, 150_000, 200_000, 240_000] == rows.due_us.tolist()
    assert ["drum", "off", "drum", "off", "drum", "off"] == list(rows.kind)
    assert [90, 40] == [m[2] for m, kind in zip(quiet.messages, quiet.kind, strict=True) if kind == "drum"]
