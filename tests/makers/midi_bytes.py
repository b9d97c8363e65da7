"""MIDI files as bytes, put together by hand, so that a reader is not tested with the writer's own mistakes.

Inside: `number` (variable-length), `note_on`, `note_off`, `meta`, `track`, `header`, `smf`, and `song` (large,
well-formed).
"""

import numpy as np

__all__ = ["END", "header", "meta", "note_off", "note_on", "number", "smf", "song", "track"]

END = b"\x00\xff\x2f\x00"
"""End-of-track, without delay."""


def number(value: int) -> bytes:
    """A variable-length number: seven bits a byte, most significant first, the top bit set on all but the last."""
    out = bytes([value & 127])
    while value > 127:
        value >>= 7
        out = bytes([128 | value & 127]) + out
    return out


def note_on(delta: int, pitch: int, velocity: int = 64, channel: int = 0) -> bytes:
    """A note-on event."""
    return number(delta) + bytes([0x90 | channel, pitch, velocity])


def note_off(delta: int, pitch: int, channel: int = 0) -> bytes:
    """A note-off event."""
    return number(delta) + bytes([0x80 | channel, pitch, 64])


def meta(delta: int, kind: int, payload: bytes = b"") -> bytes:
    """A meta event."""
    return number(delta) + bytes([0xFF, kind]) + number(len(payload)) + payload


def tempo(delta: int, us_per_quarter: int) -> bytes:
    """A set-tempo meta."""
    return meta(delta, 0x51, us_per_quarter.to_bytes(3, "big"))


def metre(delta: int, count: int, power: int) -> bytes:
    """A time signature meta; the lower number is 2 to the power."""
    return meta(delta, 0x58, bytes([count, power, 24, 8]))


def track(*events: bytes, end: bytes = END, length: int | None = None) -> bytes:
    """A track chunk; a false ``length`` may be declared."""
    body = b"".join(events) + end
    return b"MTrk" + (len(body) if length is None else length).to_bytes(4, "big") + body


def header(form: int = 0, tracks: int = 1, division: int = 480) -> bytes:
    """A header chunk."""
    return b"MThd" + (6).to_bytes(4, "big") + b"".join(value.to_bytes(2, "big") for value in (form, tracks, division))


def smf(*tracks: bytes, form: int | None = None, division: int = 480, declared: int | None = None) -> bytes:
    """A whole file; format 0 for one track, else 1."""
    kind = (0 if len(tracks) == 1 else 1) if form is None else form
    return header(kind, len(tracks) if declared is None else declared, division) + b"".join(tracks)


def song(
    rng: np.random.Generator,
    *,
    tracks: int = 4,
    notes: int = 1000,
    tempi: int = 1,
    running: bool = False,
    division: int = 480,
) -> bytes:
    """A large well-formed file: a tempo track, then tracks of notes with releases, controllers and bends between.

    Parameters
    ----------
    tracks, notes : int
        Tracks with notes, and notes in each.
    tempi : int
        Tempo changes, two quarters apart.
    running : bool
        Leave out repeated status bytes.
    """
    steps = rng.integers(200_000, 1_000_000, tempi).tolist()
    conductor = [metre(0, 4, 2)] + [tempo(2 * division if row else 0, us) for row, us in enumerate(steps)]
    chunks = [track(*conductor)]
    for channel in range(tracks):
        body = bytearray()
        status = -1
        wait, pitch, length = (rng.integers(low, high, notes).tolist() for low, high in ((0, 200), (30, 90), (20, 300)))
        velocity, extra = rng.integers(1, 128, notes).tolist(), rng.random(notes).tolist()
        for row in range(notes):
            events = [
                (wait[row], 0x90, pitch[row], velocity[row]),
                (length[row], 0x90 if running else 0x80, pitch[row], 0),
            ]
            if extra[row] < 0.1:
                events.insert(1, (3, 0xB0, 64, 127 * (row & 1)))
            elif extra[row] < 0.15:
                events.insert(1, (1, 0xE0, row & 127, 64))
            for delta, kind, first, second in events:
                body += number(delta)
                if not running or status != kind:
                    body.append(kind | channel & 15)
                status = kind
                body += bytes([first, second])
        chunks.append(track(bytes(body)))
    return smf(*chunks, form=1, division=division)
