"""Song files: ``heeltap.song/1``, written by ``heeltap song new`` and changed by hand.

::

    format = "heeltap.song/1"
    title = "Harbour"
    file = "harbour.mid"
    part = "keys"
    drums = "drums"
    plan = "keys"
    takes = "takes"

    [[section]]
    name = "verse 2"
    bar = 21

Inside: `read_song`, `song_from_toml`, `song_to_toml`, `FORMAT`, `KEYS`.
"""

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

from heeltap.files.toml.check import Check, toml_file_text, toml_text
from heeltap.model.lean import AUTO, Lean
from heeltap.model.plan import Section
from heeltap.model.song import Song

__all__ = ["FORMAT", "KEYS", "read_song", "song_from_toml", "song_to_toml"]

FORMAT = "heeltap.song/1"

KEYS = (
    "format", "title", "file", "part", "drums", "drums_file", "plan", "takes", "lean_ms", "pocket_ms",
    "recording_delay_ms", "begins_at_bar", "section",
)  # fmt: skip

_LAST_BAR = 99_999

_NOTES = {
    "part": "the part that you play",
    "drums": 'kick and snare of this part give the time; "" is the click',
    "plan": "the part that says what should be played; leave it out if only you know",
    "takes": "the folder with your takes",
}
"""What stands behind a key, for who edits the file."""


def read_song(path: Path) -> Song:
    """The song in a file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Song

    Raises
    ------
    SetFileError
        It cannot be read, or has mistakes: every one with its line.
    """
    text = toml_file_text(path, "a song file (.song.toml)", "heeltap song new SONG.mid writes one")
    name = path.name.removesuffix(".toml").removesuffix(".song")
    return song_from_toml(text, where=str(path), name=name, folder=path.parent)


def song_from_toml(text: str, *, where: str = "song", name: str = "song", folder: Path = Path()) -> Song:
    """The song that a TOML text describes.

    Parameters
    ----------
    text : str
    where : str
        For messages.
    name : str
        What the song is called for short.
    folder : Path
        Where the files that it names are looked for.

    Returns
    -------
    Song

    Raises
    ------
    SetFileError
        Every mistake, each with its line.
    """
    check = Check(where, text)
    top = check.document
    check.only(top, (), KEYS)
    if check.text(top, (), "format") not in (FORMAT, ""):
        check.wrong(("format",), repr(top["format"]), f'"{FORMAT}"', "a newer heeltap may have written it")
    lean = None
    if "lean_ms" in top:
        auto = top["lean_ms"] == "auto"
        lean = AUTO if auto else Lean(check.number(top, (), "lean_ms", low=-100, high=100))
    delay = (
        check.number(top, (), "recording_delay_ms", low=-10_000, high=10_000) if "recording_delay_ms" in top else None
    )
    found = Song(
        name=name,
        title=check.text(top, (), "title", name),
        file=check.text(top, (), "file"),
        part=check.text(top, (), "part"),
        drums=check.text(top, (), "drums", ""),
        drums_file=check.text(top, (), "drums_file", ""),
        plan=check.text(top, (), "plan", ""),
        takes=check.text(top, (), "takes", "takes"),
        sections=_sections(check),
        lean=lean,
        pocket_ms=check.number(top, (), "pocket_ms", low=1, high=200) if "pocket_ms" in top else None,
        recording_delay_ms=delay,
        begins_at_bar=check.whole(top, (), "begins_at_bar", low=1, high=_LAST_BAR) if "begins_at_bar" in top else None,
        folder=str(folder),
    )
    check.finish()
    return found


def _sections(check: Check) -> tuple[Section, ...]:
    """The sections in order; the last one runs to the end of the song, wherever that is."""
    marks: list[tuple[str, int]] = []
    for number, row in enumerate(check.tables(check.document, (), "section", [])):
        here = ("section", number)
        check.only(row, here, ("name", "bar"))
        lowest = marks[-1][1] + 1 if marks else 1
        marks.append((check.text(row, here, "name"), check.whole(row, here, "bar", low=lowest, high=_LAST_BAR)))
    ends = [after - 1 for (_, _), (_, after) in pairwise(marks)] + [_LAST_BAR]
    return tuple(Section(name, first, last) for (name, first), last in zip(marks, ends, strict=False))


def song_to_toml(song: Song, guesses: Mapping[str, str]) -> str:
    """A song file to be changed by hand.

    Parameters
    ----------
    song : Song
    guesses : mapping
        Keys whose value is a guess, each with its reason.

    Returns
    -------
    str
        `song_from_toml` of it is the same song.
    """
    rows: list[tuple[str, object]] = [
        ("format", FORMAT), ("title", song.title), ("file", song.file), ("part", song.part), ("drums", song.drums),
        ("plan", song.plan), ("takes", song.takes),
    ]  # fmt: skip
    lines = ["# A song for heeltap. Change what is wrong; what stands behind # is for people only.", ""]
    for key, value in rows:
        note = f"a guess: {guesses[key]}" if key in guesses else _NOTES.get(key, "")
        lines.append(f"{key} = {toml_text(value)}" + (f"  # {note}" if note else ""))
    lines += [
        "# lean_ms = 10                # aim so far behind the drums",
        "# recording_delay_ms = 12     # your takes were written so much later than you played",
        "# begins_at_bar = 9           # your take files begin with this bar",
    ]
    if song.sections:
        lines += ["", f"# Sections: {guesses.get('section', 'from the markers of the song')}."]
    for section in song.sections:
        lines += ["[[section]]", f"name = {toml_text(section.name)}", f"bar = {section.first_bar}"]
    return "\n".join(lines) + "\n"
