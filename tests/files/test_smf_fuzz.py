"""Arbitrary and mutated bytes: each file either reads into sound numbers or is refused by our own error."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from heeltap.errors import HeeltapError, MidiFileError
from heeltap.files.smf import Midi, parse_midi
from tests.makers.midi_bytes import header, meta, metre, note_off, note_on, smf, song, tempo, track

COLUMNS = ("onset_us", "pitch", "velocity", "channel", "track", "duration_us", "tick", "part")

INTERESTING = (
    0x00,
    0x01,
    0x2F,
    0x40,
    0x4D,
    0x51,
    0x58,
    0x7F,
    0x80,
    0x81,
    0x90,
    0xB0,
    0xC0,
    0xF0,
    0xF7,
    0xF8,
    0xFE,
    0xFF,
)
"""Bytes that mean something: a mutation with them goes deeper than one with any byte."""


def _check_sound(midi: Midi) -> None:
    """Everything that a reader of the table may rely on."""
    sizes = {getattr(midi, name).size for name in COLUMNS}
    types = {getattr(midi, name).dtype for name in COLUMNS}
    assert sizes == {len(midi)}
    assert types == {np.dtype(np.int64)}
    assert np.all(midi.onset_us >= 0)
    assert np.all(np.diff(midi.onset_us) >= 0)
    assert np.all(np.diff(midi.tick) >= 0)
    assert np.all(midi.duration_us >= -1)
    assert np.all((midi.pitch >= 0) & (midi.pitch <= 127) & (midi.velocity >= 1) & (midi.velocity <= 127))
    assert np.all((midi.channel >= 0) & (midi.channel <= 15))
    assert np.all(np.diff(midi.pedal.at_us) >= 0)
    assert [part.notes for part in midi.parts] == np.bincount(midi.part, minlength=len(midi.parts)).tolist()
    assert all(len(midi.notes_of(part)) == part.notes for part in midi.parts[:3])
    bar, beat = midi.metre.bar_beat(midi.tempo.quarter_at(midi.onset_us))
    assert np.all(bar >= 1)
    assert np.all(np.isfinite(beat))
    assert all("\n" not in line for line in midi.warnings)


def _read(data: bytes) -> Midi | None:
    """The file, checked; None when it was refused by our error. Anything else that is raised fails the test."""
    try:
        midi = parse_midi(data)
    except MidiFileError:
        return None
    _check_sound(midi)
    return midi


def _seeds(rng: np.random.Generator) -> list[bytes]:
    """Small files that between them hold everything that the reader knows."""
    first = track(
        meta(0, 3, b"Song"),
        metre(0, 4, 2),
        tempo(0, 500_000),
        tempo(960, 400_000),
        meta(0, 6, b"verse"),
        metre(0, 6, 3),
    )
    second = track(
        *(meta(0, 0x20, b"\x02"), meta(0, 0x21, b"\x01"), meta(0, 4, b"Keys"), b"\x00\xc2\x05"),
        *(note_on(0, 60, channel=2), b"\x30\x3e\x40\x10\x3c\x00", b"\x00\xf0\x03\x43\x12\xf7", note_off(200, 62, 2)),
        *(
            b"\x00\xb2\x40\x7f",
            b"\x81\x00\xe2\x00\x40",
            b"\x00\xf8",
            note_on(480, 64, channel=2),
            meta(0, 0x59, b"\x02\x00"),
        ),
    )
    riff = b"RIFF\x00\x00\x00\x00RMIDdata" + len(smf(second)).to_bytes(4, "little") + smf(second)
    return [
        smf(first, second, second),
        smf(second, division=0xE728),
        smf(first, second, second, form=2),
        riff,
        smf(first, second) + smf(second),
        song(rng, tracks=2, notes=8, tempi=3, running=True),
    ]


def _mutants(rng: np.random.Generator, count: int) -> Iterator[bytes]:
    """Seeds with one to six changes: bytes replaced, bits flipped, pieces cut, doubled, moved, cut off."""
    seeds = _seeds(rng)
    for _ in range(count):
        data = bytearray(seeds[rng.integers(len(seeds))])
        for _ in range(rng.integers(1, 7)):
            at, kind = int(rng.integers(len(data))), rng.integers(7)
            size = int(rng.integers(1, 9))
            if kind == 0:
                data[at] = int(rng.integers(256))
            elif kind == 1:
                data[at] = INTERESTING[rng.integers(len(INTERESTING))]
            elif kind == 2:
                data[at] ^= 1 << int(rng.integers(8))
            elif kind == 3:
                del data[at : at + size]
            elif kind == 4:
                data[at:at] = data[at : at + size]
            elif kind == 5:
                data[at:at] = bytes(int(byte) for byte in rng.choice(INTERESTING, size))
            else:
                del data[at:]
            if not data:
                break
        yield bytes(data)


def _fuzz(rng: np.random.Generator, count: int) -> tuple[int, int]:
    """How many mutants were read and how many refused."""
    read = [_read(data) is not None for data in _mutants(rng, count)]
    return sum(read), count - sum(read)


def test_mutated_files_read_or_are_refused(rng: np.random.Generator) -> None:
    """Two thousand mutations: sound numbers or our error, and both occur."""
    read, refused = _fuzz(rng, 2_000)

    assert read > 200
    assert refused > 100


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_two_hundred_thousand_mutations(seed: int) -> None:
    """Fifty thousand mutations a seed: sound numbers or our error, and both occur."""
    read, refused = _fuzz(np.random.default_rng(seed), 50_000)

    assert read > 5_000
    assert refused > 2_500


@given(st.binary(max_size=300))
@example(b"MThd")
@example(b"RIFF\x00\x00\x00\x00RMID")
def test_any_bytes(data: bytes) -> None:
    """Bytes of no kind."""
    _read(data)


@given(st.lists(st.binary(max_size=60), max_size=4), st.integers(0, 3), st.integers(0, 65_535), st.integers(0, 5))
def test_any_bytes_as_tracks(bodies: list[bytes], form: int, division: int, declared: int) -> None:
    """A good header and any bytes in its tracks."""
    _read(smf(*(track(body) for body in bodies), form=form, division=division, declared=declared))


@given(st.binary(max_size=200), st.integers(0, 0xFFFFFFFF), st.integers(0, 0xFFFFFFFF))
def test_any_declared_length(body: bytes, first: int, second: int) -> None:
    """Any bytes under any declared length, twice."""
    _read(header(1, 2) + track(body, length=first) + track(body, length=second))


@given(st.lists(st.tuples(st.integers(0, 0xFFFFFFF), st.integers(0, 0xFFFFFF)), max_size=40), st.integers(1, 0x7FFF))
def test_any_tempi_at_any_distance(changes: list[tuple[int, int]], division: int) -> None:
    """Every tempo value at every legal delta: times in order and inside 64 bits."""
    body = b"".join(tempo(delta, us) + note_on(0, 60) for delta, us in changes)
    midi = _read(smf(track(body), division=division))

    assert midi is not None
    assert len(changes) == len(midi)


def test_refusals_are_of_the_house(rng: np.random.Generator) -> None:
    """What is raised for a bad file is a `HeeltapError` and a `ValueError`, so that callers may catch either."""
    with pytest.raises(HeeltapError):
        parse_midi(b"no")
    with pytest.raises(ValueError, match="not a MIDI file"):
        parse_midi(b"no")
