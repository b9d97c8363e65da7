"""Writing MIDI files: what is written reads back exactly, here and by other programs; whole or not at all."""

from pathlib import Path

import mido
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.errors import InputFileError
from heeltap.files.smf import Pedal, TrackOut, midi_bytes, parse_midi, read_midi, write_midi
from heeltap.model.arrays import as_ints
from heeltap.model.notes import Notes, make_notes
from heeltap.model.timeline import Metre, MetreMap, TempoMap, steady_metre, steady_tempo
from tests.makers.midi_bytes import header


def _notes(rng: np.random.Generator, count: int, tempo: TempoMap, *, channel: int = 0) -> Notes:
    """Notes on whole ticks, each key released before it is struck again."""
    start = np.sort(rng.integers(0, 4_000, count)) * 200
    pitch = 30 + np.arange(count) % 60
    us = tempo.us_at(start)
    return make_notes(
        us, pitch, rng.integers(1, 128, count), channel=channel, duration_us=tempo.us_at(start + 150) - us
    )


def _columns(notes: Notes) -> list[list[int]]:
    return [getattr(notes, name).tolist() for name in ("onset_us", "pitch", "velocity", "channel", "duration_us")]


CHANGES = TempoMap(10_080, as_ints([0, 40_320, 100_000]), as_ints([500_000, 640_123, 389_000]))


@pytest.mark.parametrize("form", [0, 1])
def test_everything_reads_back(rng: np.random.Generator, tmp_path: Path, form: int) -> None:
    """Notes, names, programs, tempo, metre, markers and pedal come back as they went in, in both formats."""
    first, second = _notes(rng, 300, CHANGES), _notes(rng, 50, CHANGES, channel=9)
    metre = MetreMap(np.array([0.0, 6.0]), (Metre(6, 8), Metre(7, 8)))
    pedal = Pedal(as_ints([0, 2_000_000]), as_ints([0, 0]), as_ints([127, 0]), as_ints([0, 0]))
    markers = [(0, "verse"), (2_000_000, "chorus – Ü")]
    path = tmp_path / "take.mid"
    tracks = [TrackOut(first, "Keys", program=4, pedal=pedal), TrackOut(second, "Drums")]
    write_midi(path, tracks, tempo=CHANGES, metre=metre, markers=markers, name="Song", format=form)
    midi = read_midi(path)

    assert () == midi.warnings
    assert form == midi.format
    assert _columns(first) == _columns(midi.notes_of(midi.parts[0]))
    assert _columns(second) == _columns(midi.notes_of(midi.parts[1]))
    assert [("Keys", 4, 0), ("Drums", None, 9)] == [(part.name, part.program, part.channel) for part in midi.parts]
    assert CHANGES.at_tick.tolist() == midi.tempo.at_tick.tolist()
    assert CHANGES.us_per_quarter.tolist() == midi.tempo.us_per_quarter.tolist()
    assert (metre.at_quarter.tolist(), metre.metres) == (midi.metre.at_quarter.tolist(), midi.metre.metres)
    assert [text for _, text in markers] == [marker.text for marker in midi.markers]
    assert [0, 2_000_000] == pytest.approx([marker.at_us for marker in midi.markers], abs=32)
    assert [(0, 127), (2_000_000, 0)] == [
        (pytest.approx(us, abs=32), value)
        for us, value in zip(midi.pedal.at_us.tolist(), midi.pedal.value.tolist(), strict=True)
    ]


@given(
    st.lists(st.tuples(st.integers(0, 600_000_000), st.integers(0, 127), st.integers(1, 127)), max_size=30),
    st.floats(20, 300),
)
def test_onsets_move_by_half_a_tick_at_most(rows: list[tuple[int, int, int]], bpm: float) -> None:
    """Any onset comes back within half a tick and one rounding; what was read, written again, does not move at all."""
    rows = sorted(rows)
    tempo = steady_tempo(bpm)
    notes = make_notes([row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows])
    once = parse_midi(midi_bytes([TrackOut(notes)], tempo=tempo))
    twice = parse_midi(midi_bytes([TrackOut(once.notes)], tempo=once.tempo))
    half_tick_us = 60_000_000 / bpm / 10_080 / 2

    assert np.all(np.abs(once.onset_us - notes.onset_us) <= half_tick_us + 1)
    assert once.onset_us.tolist() == twice.onset_us.tolist()
    assert sorted(row[1] for row in rows) == sorted(once.pitch.tolist())
    assert [-1] * len(rows) == once.duration_us.tolist()


def test_struck_again_on_the_tick_of_its_release() -> None:
    """A note that ends where the same key starts again, and one of no length, keep their lengths."""
    notes = make_notes([0, 500_000, 1_000_000], [60, 60, 60], duration_us=[500_000, 500_000, 0])
    midi = parse_midi(midi_bytes([TrackOut(notes)], tempo=steady_tempo(120)))

    assert [500_000, 500_000, 0] == midi.duration_us.tolist()


def test_other_programs_read_the_same(rng: np.random.Generator, tmp_path: Path) -> None:
    """mido reads the written file without complaint and finds the same note-ons at the same ticks."""
    path = tmp_path / "take.mid"
    notes = _notes(rng, 100, CHANGES)
    write_midi(path, [TrackOut(notes, "Keys")], tempo=CHANGES, markers=[(0, "verse")])
    at, found = 0, []
    for message in mido.MidiFile(path).tracks[1]:
        at += message.time
        if message.type == "note_on":
            found.append((at, message.note, message.velocity))
    midi = read_midi(path)

    assert list(zip(midi.tick.tolist(), midi.pitch.tolist(), midi.velocity.tolist(), strict=True)) == found


def test_bytes_are_as_the_standard_says() -> None:
    """A file of one note, byte by byte: header, conductor track, note track; no running status."""
    notes = make_notes([500_000], [60], [64], duration_us=[500_000])
    data = midi_bytes([TrackOut(notes, channel=9)], tempo=steady_tempo(120, ticks_per_quarter=96))
    conductor = bytes.fromhex("00FF580404021808 00FF510307A120 00FF2F00".replace(" ", ""))
    player = bytes.fromhex("60993C40 60893C40 00FF2F00".replace(" ", ""))

    assert (
        header(1, 2, 96)
        + (b"MTrk" + len(conductor).to_bytes(4, "big") + conductor)
        + (b"MTrk" + len(player).to_bytes(4, "big") + player)
    ) == data


def test_compound_metres_click_on_their_own_beat() -> None:
    """Source: SMF 1.0, time signature example: 6/8 with a click every dotted quarter is FF 58 04 06 03 24 08."""
    data = midi_bytes([], tempo=steady_tempo(120), metre=steady_metre(6, 8))

    assert bytes.fromhex("FF580406032408") in data


def test_the_end_can_lie_behind_the_last_event() -> None:
    """`end_us` puts end-of-track there, so that a piece keeps its last bar."""
    data = midi_bytes(
        [TrackOut(make_notes([0], [60]))], tempo=steady_tempo(120, ticks_per_quarter=100), end_us=2_000_000
    )

    assert data.endswith(b"\x83\x10\xff\x2f\x00")


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({"tempo": steady_tempo(120, ticks_per_quarter=40_000)}, "ticks per quarter"),
        ({"tempo": steady_tempo(3)}, "slower than"),
        ({"tempo": steady_tempo(120), "format": 2}, "format 2"),
        ({"tempo": steady_tempo(120), "metre": steady_metre(4, 5)}, "4/5"),
        ({"tempo": steady_tempo(120), "metre": steady_metre(300, 4)}, "300/4"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([-1_000], [60]))]}, "nothing may lie before 0"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([0], [128]))]}, "pitch"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([0], [60], [0]))]}, "velocity"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([0], [60]), channel=16)]}, "channel 16"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([0], [60]), program=128)]}, "program 128"),
        ({"tempo": steady_tempo(120), "tracks": [TrackOut(make_notes([10**12], [60]))]}, "does not fit"),
    ],
)
def test_what_does_not_fit_is_refused(kwargs: dict[str, object], words: str) -> None:
    """Resolution, tempo, metre, time, pitch, velocity, channel and program outside the format are named."""
    with pytest.raises(ValueError, match=words):
        midi_bytes(**{"tracks": [], **kwargs})  # type: ignore[arg-type]


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk refuses, the old file stays as it was, no draft is left, and the error is one line."""
    path = tmp_path / "take.mid"
    write_midi(path, [], tempo=steady_tempo(120))
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InputFileError, match=r"take\.mid: cannot be written: No space left"):
        write_midi(path, [TrackOut(make_notes([0], [60]))], tempo=steady_tempo(120))

    assert before == path.read_bytes()
    assert [path] == list(tmp_path.iterdir())


def test_a_folder_that_is_missing_is_named(tmp_path: Path) -> None:
    """Writing into a folder that does not exist is refused in one line."""
    with pytest.raises(InputFileError, match="there is no folder"):
        write_midi(tmp_path / "none" / "take.mid", [], tempo=steady_tempo(120))
