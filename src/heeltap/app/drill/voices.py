"""What sounds in a drill and how loud: its voices, what of them is on at first, and the volumes that are kept.

Inside: `voices_of`, `mix_of`, `kept_mix`, `keep_volumes`.
"""

from collections.abc import Sequence
from dataclasses import replace

from heeltap.app.drill.drill import Drill
from heeltap.errors import OptionError, PlanError, sentence
from heeltap.files.settings import Stored, read_settings, write_settings
from heeltap.files.smf import read_midi
from heeltap.model.mix import CLICK, DRUMS, LOUDEST, Mix, part_kind
from heeltap.model.parts import choose_part

__all__ = ["keep_volumes", "kept_mix", "mix_of", "voices_of"]


def voices_of(drill: Drill) -> dict[str, str]:
    """What can sound in a drill: by voice its name for people, the click first.

    Parameters
    ----------
    drill : Drill

    Returns
    -------
    dict
    """
    drums = {} if drill.backing is None else {DRUMS: "drums"}
    parts = {part_kind(number): name for number, name in enumerate(drill.band.names, start=1)}
    return {CLICK: "click", **drums, **parts}


def mix_of(drill: Drill, volumes: Mix | None = None, hear: Sequence[str] | None = None) -> Mix:
    """The mix that a drill begins with: its drums or else its click, and the parts that you want to hear.

    Parameters
    ----------
    drill : Drill
    volumes : Mix, optional
        Whose volumes hold; everything at 100 where not given.
    hear : sequence of str, optional
        Parts by name, number or channel; None is none of them.

    Returns
    -------
    Mix

    Raises
    ------
    OptionError
        The drill is of no song, so it has no further parts, or the part is your own or the drummer's.
    InputFileError
        No such part.
    """
    on = {_voice(drill, name) for name in hear or ()}
    drums = drill.backing is not None
    off = {voice for voice in voices_of(drill) if voice not in (CLICK, DRUMS, *on)} | ({CLICK} if drums else set())
    return replace(volumes or Mix(), off=frozenset(off), chosen=DRUMS if drums else CLICK)


def kept_mix(stored: Stored, *, click: int | None = None, drums: int | None = None, parts: int | None = None) -> Mix:
    """The volumes that are given, and for what is not given those of the settings.

    Parameters
    ----------
    stored : Stored
    click, drums, parts : int, optional
        Per cent.

    Returns
    -------
    Mix
        With everything on.

    Raises
    ------
    PlanError
        A volume outside 0 to 100.
    """
    given = {"click": click, "drums": drums, "parts": parts}
    for name, value in given.items():
        if value is not None and not 0 <= value <= LOUDEST:
            raise PlanError(sentence(f"{name} volume", str(value), f"0 to {LOUDEST} per cent"))
    kept = {name: stored.volumes.get(name, LOUDEST) if value is None else value for name, value in given.items()}
    return Mix(kept["click"], kept["drums"], kept["parts"])


def keep_volumes(mix: Mix) -> None:
    """Write the volumes into the settings, where they are others than those.

    Parameters
    ----------
    mix : Mix

    Raises
    ------
    SetFileError, InputFileError
        The settings have a mistake, or cannot be written.
    """
    stored = read_settings()
    now = {"click": mix.click_volume, "drums": mix.drums_volume, "parts": mix.parts_volume}
    if now != {name: stored.volumes.get(name, LOUDEST) for name in now}:
        write_settings(replace(stored, volumes=now))


def _voice(drill: Drill, wanted: str) -> str:
    """The voice of the part that a person names as for ``--part``: by its number, its channel or its name."""
    if drill.song is None:
        raise OptionError(sentence(drill.title, f"--hear {wanted}", "a song", "only a song has further parts"))
    number = choose_part(read_midi(drill.song), wanted).index
    if number not in drill.band.numbers:
        there = ", ".join(drill.band.names) or "none: there is no other part"
        raise OptionError(sentence(drill.title, f"--hear {wanted}", there, "you play it, or hear it anyway"))
    return part_kind(1 + drill.band.numbers.index(number))
