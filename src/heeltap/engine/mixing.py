"""The mix in the engine: every voice at its level, changed while it plays by a record of the screen.

Inside: `Mixing`, `mix_records`.
"""

from collections.abc import Iterable

from heeltap.engine.records import MIX, Record
from heeltap.model.messages import is_note_on
from heeltap.model.mix import CLICK, COUNT, DRUMS, LOUDEST, MOST_PARTS, Mix, is_part, part_kind, scaled, voice_of

__all__ = ["Mixing", "mix_records"]

_VOICES = (COUNT, CLICK, DRUMS, *(part_kind(number) for number in range(1, MOST_PARTS + 1)))
"""By their number in a record."""


def mix_records(mix: Mix) -> list[Record]:
    """The records that tell the engine a mix, one a voice."""
    return [Record(MIX, value=mix.level(voice), which=number) for number, voice in enumerate(_VOICES)]


class Mixing:
    """The level of each voice, per cent."""

    def __init__(self, mix: Mix | None = None) -> None:
        """Everything as loud as it is written, where no mix is given."""
        self.levels: dict[str, int] = {}
        """By voice; a voice that is not in it is at 100."""
        self._sounding: set[tuple[str, int, int]] = set()
        """Voice, channel and key of what such a voice has struck and not yet let go."""
        if mix is not None:
            self.take(mix_records(mix))

    def take(self, told: Iterable[Record]) -> None:
        """Take up what the screen tells."""
        for record in told:
            if record.kind == MIX and record.which < len(_VOICES):
                self.levels = {**self.levels, _VOICES[record.which]: min(record.value, LOUDEST)}

    def as_sent(self, kind: str, message: bytes) -> bytes | None:
        """The message as it is to be sent; None where its voice is silent now.

        What lets a note of a voice go is sent where the note was, and only there: two voices may hold one key.
        """
        voice = voice_of(kind)
        if not voice:
            return message
        note = voice, message[0] & 0x0F, message[1]
        if not is_note_on(message):
            if note not in self._sounding:
                return None
            self._sounding.discard(note)
            return message
        sent = scaled(message, self.levels.get(voice, LOUDEST))
        if sent is not None and is_part(kind):
            self._sounding.add(note)
        return sent
