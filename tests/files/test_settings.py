"""The settings file: round trip, strictness, and what is taken from it."""

from pathlib import Path

import pytest

from heeltap.errors import SetFileError
from heeltap.files.paths import settings_file
from heeltap.files.settings import PadSet, Stored, read_settings, with_pad_set, without_pads, write_settings

WHOLE = """\
format = "heeltap.settings/1"
in_ports = ["Drum Pads", "Keys"]
out_port = "Synth"
split = "C4"

[control]
start = "cc64"
stop = "pad crash"

[click]
notes = "33,34"
channel = 3
velocity = 80

[[pads]]
port = "Drum Pads"
keys = { kick = 36, snare = 38, "low tom" = 41 }
retrigger_ms = { snare = 45 }
"""


def test_no_file_says_nothing() -> None:
    """Without a file nothing is set, and none is made."""
    assert Stored() == read_settings()
    assert not settings_file().exists()


def test_everything_is_read(tmp_path: Path) -> None:
    """Ports, split by name, controls, click, pads and their windows."""
    path = tmp_path / "settings.toml"
    path.write_text(WHOLE)

    stored = read_settings(path)

    assert stored == Stored(
        ("Drum Pads", "Keys"),
        "Synth",
        60,
        {"start": "cc64", "stop": "pad crash"},
        (PadSet("Drum Pads", {"kick": 36, "snare": 38, "low tom": 41}, {"snare": 45.0}),),
        "33,34",
        3,
        80,
    )
    assert stored.pads_of(["Drum Pads MIDI 1"]) == ({"kick": 36, "snare": 38, "low tom": 41}, {38: 45.0})
    assert stored.pads_of(["Keys"]) == ({}, {})


def test_what_is_written_reads_back_the_same() -> None:
    """Also names with quotes, and roles of two words."""
    stored = Stored(
        ('My "Kit"',),
        "",
        53,
        {"repeat": "key49"},
        (PadSet('My "Kit"', {"hat": 42, "low tom": 41}), PadSet("Other", {"kick": 35}, {"kick": 12.5})),
        click_notes="stick",
        click_velocity=1,
    )

    write_settings(stored)

    assert stored == read_settings()


def test_every_mistake_is_told_at_once_with_its_line(tmp_path: Path) -> None:
    """Unknown keys, wrong kinds, two roles on one key, a window for a pad that there is not."""
    path = tmp_path / "settings.toml"
    path.write_text(
        'in_prts = ["A"]\nsplit = "H4"\n[control]\nstrt = "cc64"\n[[pads]]\nport = "Kit"\n'
        "keys = { kick = 36, snare = 36, hat = 200 }\nretrigger_ms = { snar = 20, kick = 900 }\n"
    )

    with pytest.raises(SetFileError) as caught:
        read_settings(path)

    text = str(caught.value)
    for words in (
        "line 1, in_prts: key 'in_prts'",
        "nearest: in_ports",
        "line 2, split: key: 'H4'",
        "line 4, control.strt",
        "which is 'kick' already",
        "a whole number from 0 to 127",
        "pad 'snar'",
        "a number from 0 to 200",
    ):
        assert words in text
    assert "7 mistakes" in text


def test_mistakes_in_the_click_are_told_with_their_lines(tmp_path: Path) -> None:
    """A key that there is not, a channel and a velocity out of range, notes that are no text."""
    path = tmp_path / "settings.toml"
    path.write_text("[click]\nchanel = 3\nchannel = 0\nvelocity = 128\nnotes = 33\n")

    with pytest.raises(SetFileError) as caught:
        read_settings(path)

    text = str(caught.value)
    for words in (
        "4 mistakes",
        "line 2, click.chanel: key 'chanel'",
        "nearest: channel",
        "line 3, click.channel: 0; expected a whole number from 1 to 16",
        "line 4, click.velocity: 128; expected a whole number from 1 to 127",
        "line 5, click.notes: 33; expected a text",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = ", "not TOML"),
        ('format = "heeltap.settings/9"', "newer"),
        ("control = 1", "a table"),
        ("click = 1", "a table"),
    ],
)
def test_a_file_that_is_none_is_said(tmp_path: Path, text: str, words: str) -> None:
    """Not TOML, of another version, or of another shape."""
    path = tmp_path / "settings.toml"
    path.write_text(text)

    with pytest.raises(SetFileError, match=words):
        read_settings(path)


def test_learning_again_keeps_the_windows_of_roles_that_stay() -> None:
    """The keys are new, the windows stay; forgetting goes by the beginning of the port's name."""
    stored = Stored(pads=(PadSet("Kit", {"kick": 36, "snare": 38}, {"kick": 20.0, "snare": 45.0}), PadSet("Box", {})))

    learned = with_pad_set(stored, PadSet("Kit", {"snare": 40}))

    assert [pads for pads in learned.pads if pads.port == "Kit"] == [PadSet("Kit", {"snare": 40}, {"snare": 45.0})]
    assert [pads.port for pads in without_pads(learned, "kit").pads] == ["Box"]
    assert without_pads(learned).pads == ()
