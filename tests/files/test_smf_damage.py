"""Damaged and odd MIDI bytes: what can be timed is read with a warning, the rest is refused in one line; never in
silence.
"""

import contextlib
import os
import struct
import timeit
from pathlib import Path

import pytest

from heeltap.errors import MidiFileError
from heeltap.files.smf import MOST_BYTES, Midi, parse_midi, read_midi
from heeltap.files.smf.chunks import MOST_TRACKS
from heeltap.files.smf.events import MOST_RARE
from heeltap.files.smf.notices import MOST_LINES
from tests.makers.midi_bytes import END, header, meta, metre, note_off, note_on, smf, tempo, track

BEAT = note_on(0, 60) + note_off(240, 60) + note_on(240, 62) + note_off(240, 62)
"""Two notes, at 0 and 0.5 s at the usual 480 ticks and 120 bpm."""


def _warned(midi: Midi, words: str) -> bool:
    return any(words in line for line in midi.warnings)


def _is_beat(midi: Midi, *, times: int = 1) -> bool:
    """Whether the two notes of `BEAT` were read, from so many tracks, right in time."""
    return sorted([0, 500_000] * times) == midi.onset_us.tolist() and {60, 62} == set(midi.pitch.tolist())


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (bytes(4096), "zero bytes"),
        (b"hello, world", "not a MIDI file"),
        (b"MThd", "ends inside its header"),
        (smf(track(BEAT))[:13], "ends inside its header"),
        (track(BEAT), "a track without a header"),
        (smf(declared=3), "declares 3 tracks and none there"),
        (smf(track(BEAT), division=0), "time division 0"),
        (smf(track(BEAT), division=0xE800), "E8 00"),
        (smf(track(BEAT), division=0xE650), "E6 50"),
        (smf(track(BEAT), division=0x8000), "80 00"),
        (b"\x1f\x8b\x08\x00" + bytes(30), "gzip"),
        (b"SMF2CLIP" + bytes(30), "MIDI 2.0"),
        (b"PK\x03\x04" + smf(track(BEAT)), "zip"),
        (b"<?xml version='1.0'?><score/>", "XML"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(30), "RIFF/WAVE"),
        (b"RIFF\x24\x00\x00\x00RMIDdata\x04\x00\x00\x00abcd", "RIFF/RMID without MIDI data"),
        (b"\x00\x05\x16\x07\x00\x02\x00\x00" + bytes(30), "AppleDouble"),
        (smf(track(b"\x00\x3c\x40\x10\x3c\x00")), "without a status"),
        (smf(b"MTrk\x00\x00\x00\x40\x00\x90"), "inside an event"),
        (smf(track(b"\xff\xff\xff\xff\x7f\x90\x3c\x40")), "beyond what can be timed"),
    ],
)
def test_what_cannot_be_timed_is_refused_in_one_line(data: bytes, words: str) -> None:
    """Each refusal names the file, the reason and, where there is one, the byte; exit code 3."""
    with pytest.raises(MidiFileError) as caught:
        parse_midi(data, "take.mid")

    assert words in str(caught.value)
    assert str(caught.value).startswith("take.mid")
    assert "\n" not in str(caught.value)
    assert 3 == caught.value.exit_code


def test_a_file_that_declares_no_track_is_empty() -> None:
    """No tracks declared, none there: readable, and without notes."""
    midi = parse_midi(smf())

    assert (0, (), ()) == (len(midi), midi.parts, midi.warnings)


def test_paths_that_are_no_files_are_refused(tmp_path: Path) -> None:
    """A folder, a missing file, a pipe, a broken name and a file far too large are refused, and nothing waits."""
    pipe, large = tmp_path / "pipe.mid", tmp_path / "large.mid"
    if hasattr(os, "mkfifo"):
        os.mkfifo(pipe)
    else:
        pipe = tmp_path
    with open(large, "wb") as file:
        file.truncate(MOST_BYTES + 1)
    for path, words in (
        (tmp_path, "folder"),
        (tmp_path / "none.mid", "No such file"),
        (pipe, "no regular file|folder"),
        (large, "at most"),
        (tmp_path / ("x" * 400), "cannot be read"),
        ("a\0b.mid", "cannot be read"),
    ):
        with pytest.raises(MidiFileError, match=words):
            read_midi(path)


def test_names_of_files_cannot_steer_the_terminal(tmp_path: Path) -> None:
    """Escape sequences and line feeds in a file name do not reach the message."""
    with pytest.raises(MidiFileError) as caught:
        read_midi(tmp_path / "\x1b[31mred\n.mid")

    assert str(caught.value).isprintable()
    assert "[31mred .mid" in str(caught.value)


@pytest.mark.parametrize(
    "junk", [b"\xef\xbb\xbf", bytes(128), b"Content-Type: audio/midi\r\n\r\n"], ids=["bom", "binary", "mail"]
)
def test_bytes_before_the_header_are_skipped(junk: bytes) -> None:
    """A byte order mark, a transfer header or mail lines before the file cost a warning, and byte numbers stay true."""
    midi = parse_midi(junk + smf(track(BEAT, b"\x00\xf8")))

    assert _is_beat(midi)
    assert _warned(midi, f"{len(junk)} bytes before the header")
    assert _warned(midi, f"byte {len(junk) + 14 + 8 + len(BEAT) + 1}: a system message")


def _riff(*chunks: tuple[bytes, bytes]) -> bytes:
    body = b"".join(name + struct.pack("<I", len(data)) + data + bytes(len(data) & 1) for name, data in chunks)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"RMID" + body


def test_riff_is_unwrapped() -> None:
    """The file inside RIFF/RMID is found behind odd chunks, and what follows it is not MIDI."""
    inside = smf(track(BEAT))

    assert _is_beat(parse_midi(_riff((b"abc ", b"odd"), (b"data", inside), (b"LIST", b"MTrk\0\0\0\0"))))
    broken = _riff((b"data", inside)).replace(struct.pack("<I", len(inside)), b"\xff\xff\xff\x7f", 1)
    assert _warned(parse_midi(broken), "more bytes than the file has")
    lost = b"RIFF\0\0\0\0RMIDjunk\x03\0\0\0" + inside
    assert _is_beat(parse_midi(lost))
    assert _warned(parse_midi(lost), "found it by its header")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (smf(track(BEAT), declared=65_535), "declares 65535 tracks"),
        (smf(track(BEAT), declared=0), "declares 0 tracks"),
        (smf(track(BEAT), form=7), "unknown format 7"),
        (smf(track(), track(BEAT), form=0), "format 0 with 2 tracks"),
        (smf(track(BEAT)).replace(b"\x00\x00\x00\x06", b"\x00\x00\x00\x00", 1), "length of 0"),
        (smf(track(BEAT)).replace(b"\x00\x00\x00\x06", b"\x7f\xff\xff\xff", 1), "read as 6"),
        (smf(track(BEAT)) + bytes(40), "40 bytes that are no chunk"),
        (smf(track(BEAT)) + b"\x00", "1 bytes after the last chunk"),
        (smf(bytes(11), track(BEAT), declared=1), "11 bytes that are no chunk"),
    ],
)
def test_wrong_counts_and_junk_outside_tracks_cost_a_warning(data: bytes, words: str) -> None:
    """The notes are all there and in time, and the warning says what was wrong."""
    midi = parse_midi(data)

    assert _is_beat(midi)
    assert _warned(midi, words)


def test_alien_chunks_and_long_headers_are_no_oddity() -> None:
    """The standard says: skip chunks that are not known, and header bytes beyond the sixth."""
    alien = b"XFIH\x00\x00\x00\x05MTrk\x00"
    grown = header().replace(b"\x00\x00\x00\x06", b"\x00\x00\x00\x09") + b"abc" + track(BEAT)

    assert () == parse_midi(smf(alien, track(BEAT), alien, declared=1)).warnings
    assert () == parse_midi(grown).warnings


@pytest.mark.parametrize("length", [0, 1, 5, 12, 20, 24, 30, 200, 0x00FFFFFF, 0x7FFFFFFF, 0xFFFFFFFF])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_wrong_track_length_loses_no_note(length: int, place: int) -> None:
    """End-of-track and the next header decide where a track ends, whatever length any of three tracks declares."""
    chunks = [track(BEAT, length=length if place == row else None) for row in range(3)]
    midi = parse_midi(smf(*chunks))

    assert _is_beat(midi, times=3)
    assert [2, 2, 2] == [part.notes for part in midi.parts]
    assert _warned(midi, f"track {place}")


def test_a_track_without_its_end_stops_at_the_next_header() -> None:
    """With a right, a short, or a long length, a track without end-of-track does not run into the next."""
    for length in (None, 2, 40, 0xFFFF):
        midi = parse_midi(smf(track(BEAT, end=b"", length=length), track(BEAT)))

        assert _is_beat(midi, times=2)
        assert _warned(midi, "no end-of-track")


def test_letters_of_a_track_header_inside_a_text_are_text() -> None:
    """A marker that contains a whole track header splits no track."""
    midi = parse_midi(
        smf(track(note_on(0, 60), meta(0, 6, b"MTrk\x00\x00\x00\x04ab"), note_off(240, 60), note_on(240, 62)))
    )

    assert _is_beat(midi)
    assert 1 == len(midi.markers)


def test_letters_of_a_track_header_can_be_notes() -> None:
    """Under running status 4D 54 72 6B is a note and the wait for the next; the reader takes it for that."""
    midi = parse_midi(smf(track(b"\x00\x90\x3c\x40\x4d\x54\x72\x6b\x55\x40")))

    assert [0, 0x4D, 0x4D + 0x6B] == midi.tick.tolist()


def test_every_cut_keeps_the_notes_before_it() -> None:
    """Cut at any byte after the header, a file gives exactly the notes whose bytes are complete, and a warning; or a
    refusal where damage left none.
    """
    whole = smf(track(tempo(0, 500_000), BEAT, meta(0, 1, b"text"), BEAT))
    full = parse_midi(whole)
    complete = [whole.index(bytes([0x90, pitch, 64])) + 3 for pitch in (60, 62)]
    second = whole.index(b"text")
    complete += [whole.index(bytes([0x90, pitch, 64]), second) + 3 for pitch in (60, 62)]
    for cut in range(14, len(whole)):
        expected = sum(stop <= cut for stop in complete)
        try:
            midi = parse_midi(whole[:cut])
        except MidiFileError:
            assert 0 == expected
            continue

        assert full.onset_us[:expected].tolist() == midi.onset_us.tolist()
        assert midi.warnings


@pytest.mark.parametrize(
    ("middle", "words"),
    [
        (meta(0, 1, b"x") + b"\x81\x70\x3c\x00", "running status after"),
        (b"\x00\xf0\x03\x43\x12\xf7\x81\x70\x3c\x00", "running status after"),
        (b"\x00\xf8\x81\x70\x3c\x00", "system message (f8)"),
        (b"\x00\xff" + note_off(240, 60) + b"\x00\xb0\x07\x40" * 3, "system message (ff)"),
        (b"\x00\xff\x81\x70\x80\x3c\x00" + b"\x00\xb0\x07\x40" * 3, "system message (ff)"),
        (b"\x00\xf2\x10\x20\x81\x70\x3c\x00", "system message (f2)"),
        (meta(0, 0x51, b"\x01") + note_off(240, 60), "a tempo of 1 bytes"),
        (meta(0, 0x58, b"\x03\x02") + note_off(240, 60), "a time signature of 2 bytes"),
        (meta(0, 0x58, b"\x00\x02\x18\x08") + note_off(240, 60), "impossible time signature (0 over"),
        (meta(0, 0x58, b"\x04\xff\x18\x08") + note_off(240, 60), "impossible time signature (4 over"),
        (meta(0, 0x59, b"\x09\x00") + note_off(240, 60), "impossible key signature"),
        (meta(0, 0x51, b"\x00\x00\x00") + note_off(240, 60), "tempo 0"),
        (meta(0, 0x51, b"\x07\xa1\x20\x00") + note_off(240, 60), "the rest was ignored"),
        (b"\x80\x80\x80\x80\x00\x80\x3c\x40" + note_off(240, 60), "more than four bytes"),
        (b"\x00\xb0\x07\xc8" + note_off(240, 60), "data byte above 127"),
        (b"\x81\x70\x80\xbc\x40", "data byte above 127"),
    ],
)
def test_oddities_inside_a_track_cost_a_warning_and_no_note(middle: bytes, words: str) -> None:
    """The stream stays in step over each oddity, its delta counted: the note after it is where it belongs."""
    midi = parse_midi(smf(track(note_on(0, 60), middle, note_on(240, 62), note_off(1, 62))))

    assert _is_beat(midi)
    assert _warned(midi, words)


@pytest.mark.parametrize(
    "middle",
    [
        meta(0, 0x7F, bytes(range(128, 256))),
        meta(0, 0x30, b"\x90\x3c\x40"),
        meta(0, 1, b""),
        b"\x00\xf0\x04\x43\x90\x3c\x40",
        b"\x00\xf0\x02\x43\x12\x00\xf7\x03\x43\x12\xf7",
        b"\x00\xf7\x01\xf8",
        b"\x00\xa0\x3c\x10\x00\xd0\x10\x00\xe0\x00\x40\x00\xc0\x05\x00\x07",
    ],
    ids=["vendor", "unknown", "empty", "unended", "split", "escape", "channel"],
)
def test_what_the_standard_allows_costs_nothing(middle: bytes) -> None:
    """Unknown metas, sysex in one piece or several, escapes and running status of any message: no note, no warning."""
    midi = parse_midi(smf(track(note_on(0, 60), note_off(240, 60), middle, note_on(240, 62), note_off(1, 62))))

    assert _is_beat(midi)
    assert () == midi.warnings


def test_the_delta_of_a_bad_event_counts() -> None:
    """240 ticks that belong to a tempo that is too short are waited all the same."""
    midi = parse_midi(smf(track(note_on(0, 60), meta(240, 0x51, b"\x01\x02"), note_on(240, 62))))

    assert _is_beat(midi)


def test_clock_bytes_between_data_bytes_are_left_out() -> None:
    """A real-time byte inside a message is told from a damaged velocity by what makes sense after it."""
    clock = parse_midi(
        smf(track(b"\x00\x90\x3c\xf8\x40", note_off(240, 60), b"\x81\x70\x90\xf8\x3e\x40", note_off(1, 62)))
    )
    damaged = parse_midi(smf(track(b"\x00\x90\x3c\xf8", note_off(240, 60), note_on(240, 62), note_off(1, 62))))

    assert _is_beat(clock)
    assert [64, 64] == clock.velocity.tolist()
    assert _is_beat(damaged)
    assert [127, 64] == damaged.velocity.tolist()


def test_a_hole_of_zeros_in_a_track_is_told() -> None:
    """Zero bytes read as note messages that wait for nothing: the notes after them come too early, so a warning is due."""
    data = bytearray(smf(track(BEAT * 20)))
    data[60:120] = bytes(60)

    assert _warned(parse_midi(bytes(data)), "zero bytes where")


def test_damage_stops_one_track_and_no_other() -> None:
    """After a data byte without status nothing in that track can be timed; what came before and the other tracks
    stay.
    """
    lost = track(note_on(0, 60), note_off(480, 60), b"\xff\xff\xff\xff\x7f", note_on(0, 99))
    headless = track(b"\x00\x3c\x40")
    midi = parse_midi(smf(lost, headless, track(BEAT)))

    assert [60, 60, 62] == midi.pitch.tolist()
    assert _warned(midi, "track 0, byte 31: a delta time")
    assert _warned(midi, "track 1, byte 53: a data byte (3c) without a status")


def test_a_meta_longer_than_its_track_ends_it_at_the_next() -> None:
    """A text that declares more bytes than there are loses the rest of its own track only."""
    midi = parse_midi(
        smf(track(note_on(0, 60), b"\x00\xff\x01\xff\xff\xff\x7f", note_on(9, 99)), track(note_on(480, 62)))
    )

    assert _is_beat(midi)
    assert _warned(midi, "beyond the end of the track")


def test_events_behind_the_end_of_a_track_are_left_alone() -> None:
    """What an editor left behind end-of-track, inside the declared length, is skipped with its size told."""
    midi = parse_midi(smf(track(BEAT, END, note_on(5, 99)), track(BEAT)))

    assert _is_beat(midi, times=2)
    assert _warned(midi, "bytes after end-of-track; 8 bytes skipped")


def test_only_the_first_of_two_files_in_one_counts() -> None:
    """A second header ends the reading."""
    midi = parse_midi(smf(track(BEAT)) + smf(track(note_on(0, 99))))

    assert _is_beat(midi)
    assert _warned(midi, "a second MIDI file follows")


def test_unclosed_and_repeated_notes_count_with_a_warning() -> None:
    """Note-ons that never end, or stand twice on one tick, are kept and told."""
    midi = parse_midi(smf(track(note_on(0, 60), note_on(0, 60), note_on(480, 62), note_off(1, 62))))

    assert [0, 0, 500_000] == midi.onset_us.tolist()
    assert [-1, -1, 1_042] == midi.duration_us.tolist()
    assert _warned(midi, "never released: 2 of 3")
    assert _warned(midi, "repeat one on the same tick: 1")


def test_hours_of_silence_are_told_and_cost_nothing() -> None:
    """Three days between two notes, or after the last, are read exactly; the length is the last note's end."""
    wait = b"\xff\xff\xff\x7f"
    before = parse_midi(smf(track(note_on(0, 60), note_off(1, 60), wait + b"\x90\x3c\x40", note_off(1, 60))))
    after = parse_midi(smf(track(BEAT, wait + b"\xb0\x07\x00")))

    assert round((0x0FFFFFFF + 1) * 500_000 / 480) == before.onset_us[1]
    assert _warned(before, "77.7 hours before the note on tick 268435456")
    assert 750_000 == after.length_us
    assert _warned(after, "77.7 hours after the last note")


def test_times_stay_inside_64_bits() -> None:
    """The longest waits at the slowest tempo end the track before a time could overflow."""
    body = tempo(0, 0xFFFFFF) + (b"\xff\xff\xff\x7f\x90\x3c\x40" * 2_000)
    midi = parse_midi(smf(track(body), division=1))

    assert 1_024 == len(midi)
    assert int(midi.onset_us[-1]) == int(midi.tick[-1]) * 0xFFFFFF > 0
    assert _warned(midi, "beyond what can be timed")


def test_thousands_of_oddities_are_few_lines() -> None:
    """The same oddity is one line with its count; many different ones end in a count of the rest."""
    same = parse_midi(smf(track(BEAT, b"\x00\xf8" * 5_000)))
    many = parse_midi(smf(*[track(note_on(0, 60), b"\x00\xf8")] * 90))

    assert _warned(same, "(5000 times)")
    assert MOST_LINES + 1 == len(many.warnings)
    assert many.warnings[-1].startswith("and ")


def test_implausible_tempi_are_used_and_told() -> None:
    """One microsecond a quarter is legal and absurd: exact times, and a warning."""
    midi = parse_midi(smf(track(tempo(0, 1), note_on(480, 60), tempo(0, 0xFFFFFF), note_on(480, 62), metre(0, 6, 3))))

    assert [1, 0xFFFFFF + 1] == midi.onset_us.tolist()
    assert _warned(midi, "implausible tempo (6e+07 bpm)")
    assert _warned(midi, "implausible tempo (3.57628 bpm)")


@pytest.mark.slow
def test_a_file_of_nothing_but_tracks_or_clock_bytes_is_cut_off() -> None:
    """Track 65,536 and rare event 600,001 end the reading, with a warning, and what came before stays."""
    tracks = parse_midi(header(1, 65_535) + track(BEAT) + track() * MOST_TRACKS)
    clocks = parse_midi(smf(track(BEAT, b"\x00\xf8" * MOST_RARE, note_on(0, 99)), track(b"\x00\xf8", note_on(0, 98))))

    assert _is_beat(tracks)
    assert _warned(tracks, "more than 65535 tracks")
    assert [60, 62, 99] == clocks.pitch.tolist()
    assert _warned(clocks, "more than 600000 metas")


@pytest.mark.slow
@pytest.mark.parametrize(
    "unit",
    [
        b"\x01\x3c\x40",
        b"\x01\x90\x3c\x40",
        b"\x00\xf8",
        b"\x01\xff\x51\x03\x07\xa1\x20",
        b"\x00\xff\x06\x01a",
        b"\x00\x90\x3c\xc8",
        b"\x01\xff\x21\x01\x01\x00\x90\x3c\x40",
        b"MTrk",
        b"MTrk\x00\x00\x00\x00",
        b"MTrk\x00\x00\x00\x01\x00\xff\x2f\x00",
        b"MTrk\xff\xff\xff\xff\x00\xff\x2f\x00",
        b"ABCD\x00\x00\x00\x00",
        b"\xff",
        b"\x00",
        b"\x00\xff\x01\x08MTrk\x00\x00\x00\x00",
    ],
    ids=repr,
)
def test_no_file_of_the_largest_size_takes_long(unit: bytes) -> None:
    """Sixteen megabytes of anything are read or refused in seconds: nothing grows faster than the file.

    A quadratic step takes minutes to hours here. The limit is four times the promise of 5 s on a free core, so that a
    busy machine does not fail it.
    """
    data = header() + b"MTrk\xff\xff\xff\xff\x00\x90\x3c\x40" + unit * ((MOST_BYTES - 30) // len(unit))

    def read() -> None:
        with contextlib.suppress(MidiFileError):
            parse_midi(data)

    assert timeit.timeit(read, number=1) < 20.0
