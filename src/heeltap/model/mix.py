"""How loud each voice of what you hear is: the click, the drums, and every other part of the song.

Inside: `Mix`, `voice_of`, `part_kind`, `is_part`, `COUNT`, `CLICK`, `DRUMS`, `LOUDEST`, `MOST_PARTS`, `scaled`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

__all__ = ["CLICK", "COUNT", "DRUMS", "LOUDEST", "MOST_PARTS", "Mix", "is_part", "part_kind", "scaled", "voice_of"]

COUNT, CLICK, DRUMS = "count", "click", "drums"
"""Voices; each further part of a song is one of its own, called as its `part_kind`."""

_VOICES = {"count-in": COUNT, "accent": CLICK, "click": CLICK, "drum": DRUMS}
"""By the kind of a message in a schedule."""

_PART = "part "

LOUDEST = 100
"""Per cent: as loud as it is written."""

MOST_PARTS = 7
"""Further parts of a song that can sound: a key of the screen for each, from 3 to 9."""

_STEP = 10


def part_kind(number: int) -> str:
    """The kind of the messages of a further part in a schedule, and the name of its voice.

    Parameters
    ----------
    number : int
        From 1 to `MOST_PARTS`.

    Returns
    -------
    str
    """
    return f"{_PART}{number}"


def is_part(kind: str) -> bool:
    """Whether a message of that kind belongs to a further part of the song, which is no click and leads nobody.

    Parameters
    ----------
    kind : str
        Of a message in a schedule.

    Returns
    -------
    bool
    """
    return kind.startswith(_PART)


def voice_of(kind: str) -> str:
    """The voice of a message of that kind; empty for what belongs to none and is sent as it is (note-offs, clock).

    Parameters
    ----------
    kind : str
        Of a message in a schedule.

    Returns
    -------
    str
    """
    return kind if is_part(kind) else _VOICES.get(kind, "")


def scaled(message: bytes, percent: int) -> bytes | None:
    """A note-on at so many per cent of its velocity, 1 at least; another message as it is; None at 0.

    Parameters
    ----------
    message : bytes
    percent : int
        0 to 100.

    Returns
    -------
    bytes or None
    """
    if percent == LOUDEST or (percent and len(message) < 3):
        return message
    return bytes((*message[:2], min(127, max(1, round(message[2] * percent / LOUDEST))))) if percent > 0 else None


@dataclass(frozen=True, slots=True)
class Mix:
    """Volumes in per cent, 0 to 100, and what is switched off."""

    click_volume: int = LOUDEST
    """Of the count-in, too, which a switch does not silence."""
    drums_volume: int = LOUDEST
    parts_volume: int = LOUDEST
    """Of every further part."""
    off: frozenset[str] = frozenset()
    """The voices that are switched off."""
    chosen: str = CLICK
    """The voice whose volume the keys change: what was switched last."""

    def volume(self, voice: str) -> int:
        """The volume of a voice, per cent, whether it is switched on or off.

        Parameters
        ----------
        voice : str

        Returns
        -------
        int
        """
        click = voice in (CLICK, COUNT)
        return self.click_volume if click else self.drums_volume if voice == DRUMS else self.parts_volume

    def level(self, voice: str) -> int:
        """How loud a voice sounds now, per cent; 0 is silent.

        Parameters
        ----------
        voice : str

        Returns
        -------
        int
        """
        return 0 if voice in self.off else self.volume(voice)

    def switched(self, voice: str) -> "Mix":
        """A voice off where it was on, and on where it was off; the volume keys are its own from now on.

        Parameters
        ----------
        voice : str

        Returns
        -------
        Mix
        """
        return replace(self, off=self.off ^ {voice}, chosen=voice)

    def louder(self, steps: int) -> "Mix":
        """The chosen voice louder by so many steps of a tenth, within 0 and 100.

        Parameters
        ----------
        steps : int
            Softer where negative.

        Returns
        -------
        Mix
        """
        now = min(max(self.volume(self.chosen) + _STEP * steps, 0), LOUDEST)
        if self.chosen == CLICK:
            return replace(self, click_volume=now)
        return replace(self, drums_volume=now) if self.chosen == DRUMS else replace(self, parts_volume=now)

    def silent(self, voices: Iterable[str]) -> bool:
        """Whether none of these voices is heard.

        Parameters
        ----------
        voices : iterable of str

        Returns
        -------
        bool
        """
        return not any(self.level(voice) for voice in voices)
