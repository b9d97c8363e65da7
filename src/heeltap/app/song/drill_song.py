"""A song, a section of it or some of its bars, as something to drill to its own drums.

Inside: `SongDrill`, `song_drill`, `drill_words`.
"""

import difflib
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.song.open_song import ENDING, OpenSong, open_song
from heeltap.errors import InputFileError
from heeltap.model.lean import Lean

__all__ = ["SongDrill", "drill_words", "song_drill"]

_BARS = re.compile(r"(?:bars? *)?(\d{1,5}(?: *- *\d{1,5})?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class SongDrill:
    """What a person named, in the words of a drill of a MIDI file."""

    path: str
    """The song's MIDI file."""
    part: str
    click: str | None
    """What is heard: the song's drums; None where they lie in another file or lead nobody."""
    bars: str | None
    """``59-62``; None for the whole song."""
    lean: Lean | None
    pocket_ms: float | None


def song_drill(words: Sequence[str]) -> SongDrill | None:
    """The drill that the words name: a song, and a section or bars of it; None where they name no song of this folder.

    Parameters
    ----------
    words : sequence of str
        Such as ``harbour chorus-2`` or ``harbour 59-62``.

    Returns
    -------
    SongDrill or None

    Raises
    ------
    InputFileError
        The song has no such section, or no known part; its files cannot be used.
    """
    if not words or not (words[0].endswith(ENDING) or Path(f"{words[0]}{ENDING}").is_file()):
        return None
    opened = open_song(words[0])
    song = opened.song
    if not song.plan:
        raise InputFileError(
            str(opened.path), "no known part", "a part to drill", 'write plan = "..." into the song file'
        )
    return SongDrill(
        path=str(Path(song.folder) / song.file),
        part=song.plan,
        click=_click(opened),
        bars=_bars(opened, " ".join(words[1:])),
        lean=song.lean,
        pocket_ms=song.pocket_ms,
    )


def _click(opened: OpenSong) -> str | None:
    song = opened.song
    return f"part:{song.drums}" if song.drums and not song.drums_file else None


def _bars(opened: OpenSong, text: str) -> str | None:
    """The bars that a person names, or those of a section."""
    if not text.strip():
        return None
    bars = _BARS.fullmatch(text.strip())
    if bars is not None:
        return bars[1]
    by_name = {_plain(section.name): section for section in opened.timeline.sections}
    section = by_name.get(_plain(text))
    if section is not None:
        return f"{section.first_bar}-{section.last_bar}"
    near = difflib.get_close_matches(_plain(text), list(by_name), 1, 0.4)
    names = ", ".join(one.name for one in opened.timeline.sections) or "bars, such as 59-62"
    hint = f"nearest: {by_name[near[0]].name}" if near else "or bars, such as 59-62"
    raise InputFileError(opened.song.title, f"no section '{text}'", names, hint)


def _plain(name: str) -> str:
    """A name as people type it: without blanks, hyphens and capitals."""
    return re.sub(r"[\s_-]+", "", name).casefold()


def drill_words(opened: OpenSong) -> str:
    """What `heeltap drill` takes to play the song's part to its drums; empty where the part is not known.

    Parameters
    ----------
    opened : OpenSong

    Returns
    -------
    str
    """
    song = opened.song
    if not song.plan:
        return ""
    click = _click(opened)
    words = [str(Path(song.folder) / song.file), "--part", song.plan, *(["--click", click] if click else [])]
    return shlex.join(words)
