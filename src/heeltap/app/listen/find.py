"""What a person wants to hear: which take, which of its bars, in which versions.

Inside: `find_take`, `exercise_heard`, `stretches_of`, `pair_of`.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Options
from heeltap.app.drill.drill import drill_of
from heeltap.app.listen.hear import Heard, Listening, Part, heard_file, heard_kept, heard_song_take
from heeltap.app.listen.playback import heard_plan
from heeltap.app.practice.make_exercise import families
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import ready
from heeltap.app.song.open_song import ENDING, OpenSong, open_song
from heeltap.app.song.takes import SongTake, takes_of
from heeltap.errors import InputFileError, OptionError, sentence
from heeltap.files.takes.folder import take_of
from heeltap.model.excerpt import bars_of_text
from heeltap.safe_text import safe_line

__all__ = ["exercise_heard", "find_take", "pair_of", "stretches_of"]

_MOST_LISTED = 4
"""Stretches to play again that are heard where nobody names bars: as many as an ear keeps apart. Ours."""

_TURNS = ("played", "moved", "played")


def find_take(what: str, take: str | None, reading: Reading, options: Options, sounds: str | None) -> Heard:
    """The take that a person names.

    Parameters
    ----------
    what : str
        A song (its name in this folder, or its file), a MIDI file, or a folder of a kept take.
    take : str or None
        Which of the song's takes: its name, the end of its name, or its number from 1; a file of its own.
    reading, options : Reading, Options
        As `heeltap.app.score.score.ready` takes them; a song brings its own.
    sounds : str or None
        What it is heard with, as `heard_song_take`.

    Returns
    -------
    Heard

    Raises
    ------
    OptionError
        Something that this input cannot honour.
    InputFileError, MidiFileError, TakeFileError, SetFileError, PlanError
        The take is not there or cannot be read.
    """
    if what.endswith(ENDING) or Path(f"{what}{ENDING}").is_file():
        if (reading, options) != (Reading(), Options()):
            raise OptionError(
                sentence(what, "options of how to read and judge it", "none", "they stand in the song file")
            )
        opened = open_song(what)
        return heard_song_take(opened, _of_song(opened, take), sounds)
    if take is not None:
        raise OptionError(sentence(what, f"'{take}' beside a file", "one take", "only a song has several"))
    folder = take_of(Path(what))
    if folder is not None and sounds is None and (reading, options) == (Reading(), Options()):
        return heard_kept(folder)
    return heard_file(Path(what).stem, ready(what, reading, options), sounds)


def exercise_heard(what: str, grade: str | None) -> Listening | None:
    """An exercise as it should be played, with its click or drums and count-in; None where the words name none.

    Parameters
    ----------
    what : str
        A family, or an exercise file (``.toml``).
    grade : str or None
        Of the family.

    Returns
    -------
    Listening or None

    Raises
    ------
    PlanError, SetFileError
        There is no such grade; the file has a mistake.
    """
    is_file = Path(what).suffix.lower() == ".toml" and not what.endswith(ENDING)
    if not is_file and what not in {family.name for family in families()}:
        return None
    drill = drill_of(what if is_file or grade is None else f"{what} {grade}")
    return Listening(heard_plan(drill), ((0, f"{safe_line(drill.title)}, as it should be played"),))


def _of_song(opened: OpenSong, take: str | None) -> SongTake:
    """One take of a song."""
    if take is not None and Path(take).is_file():
        return takes_of(opened, [take])[0][0]
    takes, _ = takes_of(opened)
    names = [one.name for one in takes]
    wanted = [
        number
        for number, name in enumerate(names)
        if take is not None and (name.casefold() == take.casefold() or name.casefold().endswith(take.casefold()))
    ]
    if take is not None and take.isdecimal() and 1 <= int(take) <= len(takes):
        wanted = [int(take) - 1]
    if len(wanted) == 1:
        return takes[wanted[0]]
    found = "no take named" if take is None else f"{'no take' if not wanted else 'several takes'} '{take}'"
    raise InputFileError(opened.song.title, found, f"one of {', '.join(names) or 'its takes'}, or a number from 1")


def stretches_of(
    heard: Heard, version: str | None, bars: str | None, section: str | None, *, run_in: bool = True
) -> list[Part]:
    """The stretches to be heard.

    Parameters
    ----------
    heard : Heard
    version : str or None
        One of `heeltap.app.listen.hear.VERSIONS`, or ``turns``; turns where not given.
    bars, section : str or None
        Which bars. Where neither is given: those to play again, the worst first, each with the bar before it; the whole
        take where there are none, or where a single version is asked for.

    Returns
    -------
    list of Part
    """
    named = _named(heard, bars, section)
    if named is None and version in (None, "turns"):
        listed = [
            (max(one.first_bar - run_in, 1), min(one.last_bar, heard.bars))
            for one in heard.result.replay[:_MOST_LISTED]
        ]
        ranges = [one for one in listed if one[0] <= one[1]] or [(1, heard.bars)]
    else:
        ranges = [named or (1, heard.bars)]
    versions: Sequence[str] = _TURNS if version in (None, "turns") else (str(version),)
    return [Part(heard, one, first, last, 1 if one == "played" else 2) for first, last in ranges for one in versions]


def _named(heard: Heard, bars: str | None, section: str | None) -> tuple[int, int] | None:
    """The bars that a person names."""
    if bars is not None:
        return bars_of_text(bars)
    if section is None:
        return None
    plain = {one.name.casefold().replace("-", " "): one for one in heard.sections}
    found = plain.get(section.casefold().replace("-", " "))
    if found is None:
        names = ", ".join(one.name for one in heard.sections) or "bars, such as 12-13"
        raise InputFileError(heard.name, f"no section '{section}'", names)
    return found.first_bar, min(found.last_bar, heard.bars)


def pair_of(
    first: Heard,
    second: Heard,
    version: str | None,
    span: tuple[str | None, str | None],
    rng: np.random.Generator | None,
) -> tuple[list[Part], bool]:
    """The same stretch of two takes.

    Parameters
    ----------
    first, second : Heard
    version : str or None
        One of `heeltap.app.listen.hear.VERSIONS`; as played where not given.
    span : (str or None, str or None)
        Bars and section, as for `stretches_of`; the whole of both where neither is given.
    rng : numpy Generator or None
        Draws which comes first; None: the first.

    Returns
    -------
    parts : list of Part
        Two.
    swapped : bool
        Whether the second take comes first.
    """
    swapped = rng is not None and bool(rng.integers(2))
    low, high = _named(first, *span) or (1, min(first.bars, second.bars))
    order = (second, first) if swapped else (first, second)
    return [Part(one, version or "played", low, high, number) for number, one in enumerate(order, 1)], swapped
