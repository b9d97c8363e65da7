"""Which part of a file a person means, and which parts are drums."""

import numpy as np
import pytest

from heeltap.errors import InputFileError
from heeltap.files.smf import parse_midi
from heeltap.model import parts
from heeltap.model.arrays import as_ints
from heeltap.model.parts import Part, choose_part, guess_drums
from tests.makers.midi_bytes import meta, note_on, smf, track


class _File:
    """A file with named parts."""

    def __init__(self, *parts: Part) -> None:
        self.path, self.parts = "song.mid", parts


BAND = _File(
    Part(1, "Drums", 1, 9, None, 40, True),
    Part(2, "Electric Piano", 2, 0, 4, 30, False),
    Part(3, "Electric Bass", 3, 1, 33, 20, False),
    Part(4, "Électrique [x]", 3, 2, 33, 10, False),
    Part(5, "Track 7", 4, 4, None, 5, False),
)


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        ("1", 1),
        ("#2", 2),
        (" 3 ", 3),
        ("ch 10", 1),
        ("Channel 1", 2),
        ("CH2", 3),
        ("track 2", 2),
        ("track 3 channel 3", 4),
        ("track 3, ch 2", 3),
        ("drums", 1),
        ("DRU", 1),
        ("bass", 3),
        ("electric p", 2),
        ("électrique", 4),
        ("[x]", 4),
        ("track 7", 5),
    ],
)
def test_a_part_by_number_place_or_name(wanted: str, index: int) -> None:
    """Numbers, channels from 1, tracks as in the file, whole names, beginnings and pieces of names find the part."""
    assert index == choose_part(BAND, wanted).index


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (None, r"5 parts; expected one of: part 1 \"Drums\": track 1, channel 10, 40 notes, drums; part 2"),
        ("electric", "2 parts fit 'electric'; expected one of: part 2 .* 30 notes; part 3 .* 20 notes"),
        ("track 3", "2 parts fit 'track 3'"),
        ("9", "no part '9'; expected one of: part 1"),
        ("", "no part ''"),
        ("channel 16", "no part"),
        ("flute", "no part 'flute'"),
    ],
)
def test_no_guessing_between_parts(wanted: str | None, words: str) -> None:
    """Where several parts or none fit, they are listed with their note counts, on one line."""
    with pytest.raises(InputFileError, match=words) as caught:
        choose_part(BAND, wanted)

    assert "\n" not in str(caught.value)
    assert 3 == caught.value.exit_code


def test_the_only_part_needs_no_choice() -> None:
    """None takes the only part; without any part there is nothing to score."""
    assert 4 == choose_part(_File(BAND.parts[3])).index
    with pytest.raises(InputFileError, match="no notes in this file"):
        choose_part(_File())


def test_a_long_list_is_cut() -> None:
    """Of a hundred parts thirty are listed and the rest counted."""
    many = _File(*(Part(row + 1, "", row, 0, None, 1, False) for row in range(100)))
    with pytest.raises(InputFileError, match="and 70 more"):
        choose_part(many)


def test_parts_of_a_file_that_was_read() -> None:
    """What the reader returns can be chosen from."""
    midi = parse_midi(smf(track(meta(0, 3, b"Keys"), note_on(0, 60)), track(meta(0, 3, b"Bass"), note_on(0, 40))))

    assert 1 == choose_part(midi, "bass").track


def _groove() -> tuple[list[int], list[int]]:
    """Pitches and ticks of two bars: hats on eighths, bass drum on one and three, snare on two and four."""
    hits = [(tick, 42) for tick in range(0, 3840, 240)]
    hits += [(tick, 36) for tick in range(0, 3840, 960)] + [(tick, 38) for tick in range(480, 3840, 960)]
    rows = sorted(hits)
    return [pitch for _, pitch in rows], [tick for tick, _ in rows]


@pytest.mark.parametrize(
    ("channel", "name", "expected"),
    [(9, "Lead", True), (0, "Drum kit", True), (0, "ドラム", True), (0, "PERC 2", True), (0, "", True), (10, "", True)],
)
def test_drums_by_channel_name_or_content(channel: int, name: str, expected: bool) -> None:
    """Channel 10, a telling name, or a kit's keys that fall together."""
    pitch, tick = _groove()

    assert expected is guess_drums(channel, name, as_ints(pitch), as_ints(tick))


@pytest.mark.parametrize(
    ("pitch", "tick"),
    [
        ([36, 38, 40, 42, 43, 36, 38, 42], range(0, 1920, 240)),
        ([60, 64, 67, 72] * 4, np.repeat(range(0, 1920, 480), 4)),
        ([36, 42, 38], [0, 0, 480]),
        ([], []),
    ],
    ids=["bass line on kit keys", "chords", "too few", "none"],
)
def test_what_is_no_drum_part(pitch: list[int], tick: list[int]) -> None:
    """A bass line over the same keys, chords, and too few notes are not taken for drums."""
    assert guess_drums(0, "Bass", as_ints(pitch), as_ints(tick)) is False


def test_kit_keys_are_those_of_general_midi() -> None:
    """Source: General MIDI 1, percussion map, keys 35-59: bass drums, snare sounds, hi-hats and cymbals."""
    names = [
        "Acoustic Bass Drum",
        "Bass Drum 1",
        "Side Stick",
        "Acoustic Snare",
        "Hand Clap",
        "Electric Snare",
        "Low Floor Tom",
        "Closed Hi-Hat",
        "High Floor Tom",
        "Pedal Hi-Hat",
        "Low Tom",
        "Open Hi-Hat",
        "Low-Mid Tom",
        "Hi-Mid Tom",
        "Crash Cymbal 1",
        "High Tom",
        "Ride Cymbal 1",
        "Chinese Cymbal",
        "Ride Bell",
        "Tambourine",
        "Splash Cymbal",
        "Cowbell",
        "Crash Cymbal 2",
        "Vibraslap",
        "Ride Cymbal 2",
    ]
    kinds = {"_KICK": ("Bass Drum",), "_SNARE": ("Stick", "Snare", "Clap"), "_CYMBAL": ("Hi-Hat", "Cymbal", "Ride")}
    for table, words in kinds.items():
        keys = tuple(key for key, name in enumerate(names, 35) if any(word in name for word in words))

        assert keys == getattr(parts, table)
