"""Reading good MIDI files: notes, times, maps, parts, markers, pedal."""

from collections import deque
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import heeltap
from heeltap.errors import MidiFileError
from heeltap.files.smf import Midi, parse_midi, read_midi
from heeltap.files.smf.events import TrackReader
from heeltap.files.smf.notices import Notices
from tests.makers.midi_bytes import meta, metre, note_off, note_on, number, smf, song, tempo, track

EXAMPLE = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B 00FF580404021808 00FF510307A120 00C005 00C12E 00C246"
    "00923060 003C60 60914340 60904C20 8140823040 003C40 00814340 00804C40 00FF2F00".replace(" ", "")
)
"""The format 0 example of the SMF 1.0 document, with its length as counted (3B)."""


def _rows(midi: Midi) -> list[tuple[int, int, int]]:
    """(time, channel, pitch) of all notes."""
    return list(zip(midi.onset_us.tolist(), midi.channel.tolist(), midi.pitch.tolist(), strict=True))


def test_the_standard_s_format_0_example() -> None:
    """Source: SMF 1.0, format 0 example: four notes on three channels at 0, 0.5 and 1 s, all off at tick 384."""
    midi = parse_midi(EXAMPLE)

    assert [(0, 2, 48), (0, 2, 60), (500_000, 1, 67), (1_000_000, 0, 76)] == _rows(midi)
    assert [2_000_000, 2_000_000, 1_500_000, 1_000_000] == midi.duration_us.tolist()
    assert [(0, 5), (1, 0x2E), (2, 0x46)] == [(part.channel, part.program) for part in midi.parts]
    assert (96, [500_000], "4/4") == (
        midi.tempo.ticks_per_quarter,
        midi.tempo.us_per_quarter.tolist(),
        str(midi.metre.metres[0]),
    )
    assert () == midi.warnings
    assert 2_000_000 == midi.length_us


@pytest.mark.parametrize(
    ("value", "coded"),
    [
        (0, "00"),
        (0x40, "40"),
        (0x7F, "7F"),
        (0x80, "8100"),
        (0x2000, "C000"),
        (0x3FFF, "FF7F"),
        (0x4000, "818000"),
        (0x100000, "C08000"),
        (0x1FFFFF, "FFFF7F"),
        (0x200000, "81808000"),
        (0x8000000, "C0808000"),
        (0xFFFFFFF, "FFFFFF7F"),
    ],
)
def test_variable_length_numbers(value: int, coded: str) -> None:
    """Source: SMF 1.0, table of variable-length quantities."""
    body = bytes.fromhex(coded) + b"\x90\x3c\x40" + b"\x00\xff\x2f\x00"
    found = TrackReader(body, 0, len(body), 0, Notices()).read()

    assert coded.lower() == number(value).hex()
    assert [value] == [packed >> 24 for packed in found.notes]


def test_six_eight_signature_of_the_standard() -> None:
    """Source: SMF 1.0, time signature example: FF 58 04 06 03 24 08 is 6/8."""
    midi = parse_midi(smf(track(bytes.fromhex("00FF580406032408"), note_on(0, 60), note_off(1, 60))))

    assert "6/8" == str(midi.metre.metres[0])
    assert 2 == midi.metre.metres[0].beats


def test_defaults_hold_until_the_first_event() -> None:
    """Without events a file is at 120 bpm in 4/4; a first event that comes late is not moved back to 0."""
    midi = parse_midi(smf(track(note_on(960, 60), tempo(0, 1_000_000), metre(0, 3, 2), note_on(480, 62)), division=480))

    assert [1_000_000, 2_000_000] == midi.onset_us.tolist()
    assert (True, False) == (midi.has_tempo, parse_midi(smf(track(note_on(0, 60)))).has_tempo)
    assert [0, 960] == midi.tempo.at_tick.tolist()
    assert [0.0, 2.0] == midi.metre.at_quarter.tolist()
    assert ["4/4", "3/4"] == [str(kind) for kind in midi.metre.metres]


def test_maps_of_all_tracks_are_one_before_any_note_is_timed() -> None:
    """Tempo and metre in the last track time the notes of the first, with a warning for the tempo."""
    midi = parse_midi(
        smf(
            track(note_on(0, 60), note_off(480, 60), note_on(0, 62), note_off(480, 62)),
            track(tempo(0, 250_000), metre(0, 3, 2), tempo(480, 750_000)),
        )
    )

    assert [0, 250_000] == midi.onset_us.tolist()
    assert [250_000, 750_000] == midi.duration_us.tolist()
    assert "3/4" == str(midi.metre.metres[0])
    assert 1 == len(midi.warnings)
    assert "outside the first track" in midi.warnings[0]


def test_the_last_of_two_tempi_on_a_tick_counts() -> None:
    """Two different tempi on one tick: the later one in track and file order, with a warning; equal ones are no
    news.
    """
    body = (note_on(0, 60), note_on(480, 60), note_off(0, 60), note_off(0, 60))
    differ = parse_midi(smf(track(tempo(0, 500_000), tempo(0, 600_000), *body)))
    equal = parse_midi(smf(track(tempo(0, 600_000), tempo(0, 600_000), *body)))

    assert [0, 600_000] == differ.onset_us.tolist() == equal.onset_us.tolist()
    assert any("two tempos on one tick" in line for line in differ.warnings)
    assert () == equal.warnings


def test_two_hours_with_thousands_of_tempo_changes_are_exact(rng: np.random.Generator) -> None:
    """4,000 tempi in one track, notes in another, over two hours: every onset within 0.5 us of exact fractions."""
    steps, tempi = rng.integers(1, 3_500, 4_000).tolist(), rng.integers(300_000, 900_000, 4_000).tolist()
    waits = rng.integers(1, 3_500, 4_000).tolist()
    conductor = track(*(tempo(step, us) for step, us in zip(steps, tempi, strict=True)))
    midi = parse_midi(smf(conductor, track(*(note_on(wait, 60) for wait in waits))))
    exact, at_tick, at_us, us_per_quarter, row = [], 0, Fraction(0), 500_000, 0
    changes = np.cumsum(steps).tolist()
    for tick in np.cumsum(waits).tolist():
        while row < len(changes) and changes[row] <= tick:
            at_us += Fraction((changes[row] - at_tick) * us_per_quarter, 480)
            at_tick, us_per_quarter, row = changes[row], tempi[row], row + 1
        exact.append(at_us + Fraction((tick - at_tick) * us_per_quarter, 480))

    assert exact[-1] > 7_200_000_000
    assert max(abs(us - right) for us, right in zip(midi.onset_us.tolist(), exact, strict=True)) <= Fraction(1, 2)


def test_columns_are_equal_long_int64_and_read_only() -> None:
    """The public arrays are equally long int64 columns in time order that nobody can write to."""
    midi = parse_midi(EXAMPLE)
    columns = [
        getattr(midi, name)
        for name in ("onset_us", "pitch", "velocity", "channel", "track", "tick", "duration_us", "part")
    ]

    assert {(4, np.dtype(np.int64), False)} == {
        (column.size, column.dtype, column.flags.writeable) for column in columns
    }
    assert 4 == len(midi) == len(midi.notes)


def test_ties_stand_in_the_order_of_track_then_file() -> None:
    """Notes on one tick: lower track first, and inside a track as written."""
    first = track(note_on(10, 72), note_on(0, 40), note_on(0, 60))
    second = track(note_on(0, 50), note_on(10, 90), note_on(0, 30))
    midi = parse_midi(smf(first, second))

    assert [50, 72, 40, 60, 90, 30] == midi.pitch.tolist()
    assert [1, 0, 0, 0, 1, 1] == midi.track.tolist()


@given(st.lists(st.tuples(st.integers(0, 3), st.booleans(), st.integers(60, 62), st.integers(0, 1)), max_size=60))
def test_releases_are_first_in_first_out(events: list[tuple[int, bool, int, int]]) -> None:
    """Each note-off ends the oldest sounding note of its key; one with nothing to end does nothing. Against plain
    queues.
    """
    body, queues, expected, at = b"", {}, [], 0
    for delta, is_on, pitch, channel in events:
        at += delta
        queue = queues.setdefault((channel, pitch), deque())
        body += note_on(delta, pitch, channel=channel) if is_on else note_off(delta, pitch, channel)
        if is_on:
            queue.append(len(expected))
            expected.append([at, -1])
        elif queue:
            expected[queue.popleft()][1] = at
    midi = parse_midi(smf(track(body), division=500))  # 500 ticks a quarter at 120 bpm: 1 ms a tick

    assert [row[0] * 1000 for row in expected] == midi.onset_us.tolist()
    assert [-1 if off < 0 else (off - on) * 1000 for on, off in expected] == midi.duration_us.tolist()


@pytest.mark.parametrize("running", [False, True])
@pytest.mark.parametrize(("tracks", "tempi", "division"), [(1, 1, 96), (5, 40, 480), (3, 300, 960)])
def test_onsets_are_those_of_another_reader(
    rng: np.random.Generator, tmp_path: Path, running: bool, tracks: int, tempi: int, division: int
) -> None:
    """On well-formed files mido finds the same notes at the same times, to its own rounding of floats."""
    path = tmp_path / "song.mid"
    path.write_bytes(song(rng, tracks=tracks, notes=300, tempi=tempi, running=running, division=division))
    at, expected = 0.0, []
    for message in mido.MidiFile(path):
        at += message.time
        if message.type == "note_on" and message.velocity:
            expected.append((message.channel, message.note, message.velocity, at * 1e6))
    midi = read_midi(path)
    found = zip(midi.channel.tolist(), midi.pitch.tolist(), midi.velocity.tolist(), midi.onset_us.tolist(), strict=True)

    assert sorted(row[:3] for row in expected) == sorted(row[:3] for row in found)
    assert midi.onset_us.tolist() == pytest.approx([row[3] for row in expected], abs=0.6)


@pytest.mark.parametrize(
    ("code", "per_frame", "ticks_a_second"),
    [(0xE8, 80, 1920.0), (0xE7, 40, 1000.0), (0xE2, 80, 2400.0), (0xE3, 100, 30_000 / 1001 * 100)],
)
def test_frames_give_exact_times(code: int, per_frame: int, ticks_a_second: float) -> None:
    """24, 25, 30 and 29.97 frames a second (SMF 1.0; E7 28 are milliseconds); tempi set no time, and a warning says
    so.
    """
    wait = 5_000_000
    body = track(tempo(0, 250_000), note_on(wait, 60), note_off(1, 60))
    midi = parse_midi(smf(body, division=code << 8 | per_frame))

    assert abs(wait / ticks_a_second * 1e6 - int(midi.onset_us[0])) <= 0.5
    assert 256 - code == midi.frames
    assert "bars and beats mean nothing" in midi.warnings[0]


def test_parts_are_keyed_by_track_port_and_channel() -> None:
    """A part is a track, a port and a channel; numbers count from 1, notes of a part come out alone and in order."""
    ports = track(
        meta(0, 3, b"Two boxes"),
        meta(0, 0x21, b"\x00"),
        note_on(0, 60),
        meta(0, 0x21, b"\x01"),
        note_on(5, 61),
        note_on(5, 62),
    )
    midi = parse_midi(smf(ports, track(note_on(0, 70, channel=4), note_on(1, 71, channel=9))))

    assert [(1, 0, 0, 0, 1), (2, 0, 1, 0, 2), (3, 1, 0, 4, 1), (4, 1, 0, 9, 1)] == [
        (part.index, part.track, part.port, part.channel, part.notes) for part in midi.parts
    ]
    assert [61, 62] == midi.notes_of(midi.parts[1]).pitch.tolist()
    assert [part.index - 1 for part in midi.parts for _ in range(part.notes)] == sorted(midi.part.tolist())
    assert 'part 2 "Two boxes": track 0, channel 1, port 2, 2 notes' == str(midi.parts[1])


def test_names_programs_and_channel_prefixes() -> None:
    """A part's name is its channel's, else the track's, else the instrument's; a program may be set in another
    track.
    """
    setup = track(b"\x00\xc3\x21", meta(0, 3, b"Song"))
    first = track(meta(0, 3, b"Keys"), b"\x00\xc0\x04", note_on(0, 60), b"\x00\xc0\x07", note_on(0, 60, channel=3))
    second = track(
        meta(0, 0x20, b"\x01"), meta(0, 3, b"Bass"), meta(0, 4, b"Box"), note_on(0, 60), note_on(0, 60, channel=1)
    )
    midi = parse_midi(smf(setup, first, second))

    assert [("Keys", 4), ("Keys", 0x21), ("", 4), ("Bass", None)] == [(part.name, part.program) for part in midi.parts]


def test_markers_come_from_all_tracks_in_time_order() -> None:
    """Markers and cue points of every track, with time, tick, kind and track."""
    midi = parse_midi(
        smf(
            track(tempo(0, 1_000_000), meta(480, 6, b"verse"), meta(480, 6, "Über".encode("latin-1"))),
            track(meta(600, 7, b"go")),
        )
    )

    assert [
        (1_000_000, 480, "verse", "marker", 0),
        (1_250_000, 600, "go", "cue", 1),
        (2_000_000, 960, "Über", "marker", 0),
    ] == [(mark.at_us, mark.tick, mark.text, mark.kind, mark.track) for mark in midi.markers]


def test_pedal_events_are_kept_apart() -> None:
    """Controller 64 of all tracks and channels in time order; other controllers are passed over."""
    first = track(b"\x00\xb0\x40\x7f", b"\x00\xb0\x07\x64", b"\x83\x60\xb0\x40\x00")
    midi = parse_midi(smf(first, track(b"\x60\xb5\x40\x50", note_on(0, 60))))

    assert [0, 100_000, 500_000] == midi.pedal.at_us.tolist()
    assert [(0, 127, 0), (5, 80, 1), (0, 0, 0)] == list(
        zip(midi.pedal.channel.tolist(), midi.pedal.value.tolist(), midi.pedal.track.tolist(), strict=True)
    )


def test_the_package_offers_the_reader(tmp_path: Path) -> None:
    """`heeltap.read_midi` is the reader, and takes a path as text."""
    path = tmp_path / "take.mid"
    path.write_bytes(EXAMPLE)

    assert 4 == len(heeltap.read_midi(str(path)))


def test_format_2_reads_the_only_pattern_with_notes() -> None:
    """One pattern with notes needs no choice; an impossible choice is refused; a chosen empty one is empty."""
    data = smf(track(tempo(0, 250_000)), track(note_on(480, 60), tempo(0, 1_000_000)), form=2)

    assert [500_000] == parse_midi(data).onset_us.tolist()
    assert [1] == parse_midi(data, pattern=2).track.tolist()
    assert 0 == len(parse_midi(data, pattern=1))
    with pytest.raises(MidiFileError, match="no pattern 3"):
        parse_midi(data, pattern=3)
