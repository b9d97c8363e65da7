"""Damaged, odd and awkward MIDI files that this project did not make, each with what a good reader makes of it."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.errors import MidiFileError
from heeltap.files.smf import Midi, read_midi

pytestmark = pytest.mark.outside


@pytest.fixture
def cases(midi_cases: Path) -> list[dict[str, Any]]:
    """All expectations."""
    found: list[dict[str, Any]] = json.loads((midi_cases / "EXPECTED.json").read_text(encoding="utf-8"))["files"]
    return found


def _read(case: dict[str, Any], folder: Path) -> Midi | MidiFileError:
    try:
        return read_midi(folder / "files" / case["file"])
    except MidiFileError as error:
        return error


def _wrong_onsets(case: dict[str, Any], midi: Midi) -> list[str]:
    expected = case["all_onsets_sec_channel_pitch"]
    if len(expected) != len(midi):
        return [f"{len(midi)} notes, expected {len(expected)}"]
    rows = zip(expected, midi.onset_us.tolist(), midi.channel.tolist(), midi.pitch.tolist(), strict=True)
    return [
        f"note {row}: {us} us"
        for row, ((at_s, channel, pitch), us, *place) in enumerate(rows)
        if abs(at_s * 1e6 - us) > 500 or [channel, pitch] != place
    ]


def _wrong_details(case: dict[str, Any], midi: Midi) -> list[str]:
    """Track, tick, velocity and length of the first ten notes; the file's part list."""
    wrong = []
    for row, note in enumerate(case["onsets_first_10"]):
        length_us = -1 if note["duration_sec"] is None else note["duration_sec"] * 1e6
        expected = (note["track"], note["tick"], min(note["velocity"], 127))
        if (
            expected != (midi.track[row], midi.tick[row], midi.velocity[row])
            or abs(length_us - midi.duration_us[row]) > 1
        ):
            wrong.append(f"note {row} differs in track, tick, velocity or length")
    for expected_part, part in zip(case.get("parts", []), midi.parts, strict="parts" in case):
        wrong += [f"{part}: {key}" for key, value in expected_part.items() if getattr(part, key) != value]
    return wrong


def _wrong_maps(case: dict[str, Any], midi: Midi) -> list[str]:
    wrong = []
    if isinstance(case["tempo_map"], list):
        rows = [(row["tick"], row["us_per_quarter"]) for row in case["tempo_map"]]
        if rows != list(zip(midi.tempo.at_tick.tolist(), midi.tempo.us_per_quarter.tolist(), strict=True)):
            wrong.append("tempo map")
        at_us = midi.tempo.us_at([row["tick"] for row in case["tempo_map"]])
        if np.any(np.abs(at_us - [row["sec"] * 1e6 for row in case["tempo_map"]]) > 1):
            wrong.append("times of the tempo changes")
        if midi.tempo.ticks_per_quarter != case["division"]["ticks_per_quarter"]:
            wrong.append("ticks per quarter")
    elif midi.frames != case["division"]["fps"]:
        wrong.append("frame rate")
    ticks = midi.metre.at_quarter * midi.tempo.ticks_per_quarter
    found = [(round(tick), kind.count, kind.unit) for tick, kind in zip(ticks, midi.metre.metres, strict=True)]
    if found != [(row["tick"], row["num"], row["den"]) for row in case["time_signatures"]]:
        wrong.append(f"time signatures {found}")
    for key in ("bar_starts_sec_first", "bar_starts_sec_all"):
        starts_s = case.get(key, [])
        quarter = midi.metre.quarter_of_bar(np.arange(1, len(starts_s) + 1))
        if np.any(np.abs(midi.tempo.us_at_quarter(quarter) / 1e6 - starts_s) > 1e-6):
            wrong.append(key)
    if "first_note_bar_beat" in case:
        bar, beat = midi.metre.bar_beat(midi.tick[:1] / midi.tempo.ticks_per_quarter)
        if [int(bar[0]), float(beat[0])] != case["first_note_bar_beat"]:
            wrong.append("bar and beat of the first note")
    if "track_name_best" in case and midi.parts[0].name != case["track_name_best"]:
        wrong.append(f"name {midi.parts[0].name!r}")
    return wrong


def test_every_case_comes_out_as_expected(cases: list[dict[str, Any]], midi_cases: Path) -> None:
    """Verdict, every onset, tempo map, metres, part list and warnings of all files are as listed."""
    wrong = {}
    for case in cases:
        midi, verdict = _read(case, midi_cases), case["verdict"]
        if "tracks_are_independent" in case:
            found = [] if isinstance(midi, MidiFileError) else ["merged several patterns"]
        elif isinstance(midi, MidiFileError):
            found = [] if verdict == "reject" else [f"refused: {midi}"]
        elif verdict == "reject":
            found = ["read"]
        else:
            found = _wrong_onsets(case, midi) or _wrong_details(case, midi) + _wrong_maps(case, midi)
            found += ["no warning"] if verdict == "accept_with_warning" and not midi.warnings else []
            found += [f"warns {midi.warnings}"] if verdict == "accept" and midi.warnings and not midi.frames else []
        if found:
            wrong[case["file"]] = found

    assert len(cases) == 55
    assert wrong == {}


def test_rejections_name_the_reason_on_one_line(cases: list[dict[str, Any]], midi_cases: Path) -> None:
    """A file that is refused is refused in one line that names the file, the place, and what the bytes are."""
    words = {
        "smpte_invalid_1fps_0.mid": "FF 00",
        "riff_wave_named_mid.mid": "RIFF/WAVE",
        "._resource_fork.mid": "AppleDouble",
    }
    for case in cases:
        if case["verdict"] == "reject":
            error = _read(case, midi_cases)

            assert isinstance(error, MidiFileError)
            assert error.exit_code == 3
            assert "\n" not in str(error)
            assert case["file"] in str(error)
            assert "byte" in str(error)
            assert words[case["file"]] in str(error)


def test_each_pattern_of_format_2_has_its_own_time(cases: list[dict[str, Any]], midi_cases: Path) -> None:
    """A pattern of a format 2 file is read with its own tempo and metre, from 0; several at once are refused with a
    list.
    """
    (case,) = [case for case in cases if "tracks_are_independent" in case]
    path = midi_cases / "files" / case["file"]
    for row, pattern in enumerate(case["tracks_are_independent"]):
        midi = read_midi(path, pattern=row + 1)

        assert [round(at_s * 1e6) for at_s in pattern["onsets_sec"]] == midi.onset_us.tolist()
        assert pattern["pitches"] == midi.pitch.tolist()
        assert [pattern["tempo_us"]] == midi.tempo.us_per_quarter.tolist()
        assert "/".join(map(str, pattern["time_signature"] or [4, 4])) == str(midi.metre.metres[0])
        assert any("pattern" in line for line in midi.warnings)
    with pytest.raises(MidiFileError, match=r"pattern 1: 5 notes, pattern 2: 5 notes, pattern 3: 4 notes"):
        read_midi(path)


def test_file_with_no_notes_is_read_and_empty(midi_cases: Path) -> None:
    """A file without notes is no error of the reader: it has maps, no parts, and length 0."""
    midi = read_midi(midi_cases / "files" / "meta_only_no_notes.mid")

    assert len(midi) == 0
    assert midi.parts == ()
    assert midi.length_us == 0


def test_a_drum_part_is_guessed_by_more_than_its_channel(midi_cases: Path) -> None:
    """Drums on channel 1 are taken for drums, a melody on channel 11 is not."""
    midi = read_midi(midi_cases / "files" / "drums_on_channel_1.mid")

    assert [("Drums", True), ("Lead", False)] == [(part.name, part.is_drums) for part in midi.parts]
