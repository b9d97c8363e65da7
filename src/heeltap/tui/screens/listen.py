"""The keys and the words of hearing a take again, the same wherever it is heard.

Inside: `LISTEN`, `LISTENING_KEYS`, `listening_keys`, `listening_commands`, `listening_words`.
"""

from collections.abc import Callable, Mapping

from heeltap.app.listen.player_control import PlayerControl
from heeltap.tui.keys import HELP, QUIT, Key

__all__ = ["LISTEN", "LISTENING_KEYS", "listening_commands", "listening_keys", "listening_words"]

LISTEN = Key("l", "listen", "hear it with the click, through the output in use; before a take, what is to be played")

_OTHER = Key("v", "other version", "from here on as it was played, or with every stroke where it belongs: at the lean")

LISTENING_KEYS = (
    Key("escape", "silence", "stop listening", "esc"),
    _OTHER,
    Key("left", "back", "four bars back", "left"),
    Key("right", "on", "four bars on", "right"),
    HELP,
    QUIT,
)
"""While a take is heard."""


def listening_keys(listening: PlayerControl) -> tuple[Key, ...]:
    """The keys of what is heard: a plan has no other version."""
    return tuple(key for key in LISTENING_KEYS if key is not _OTHER or listening.has_other)


def listening_commands(listening: PlayerControl) -> Mapping[str, Callable[[], object]]:
    """What `LISTENING_KEYS` do, but for help and quit."""
    return {
        "escape": listening.stop,
        "v": listening.other,
        "left": lambda: listening.jump(-1),
        "right": lambda: listening.jump(1),
    }


def listening_words(listening: PlayerControl) -> str:
    """What is heard, and where it stands; empty when nothing is."""
    if listening.problem:
        return listening.problem
    if not listening.on:
        return ""
    bar = listening.bar
    where = "" if bar is None else ", count-in" if bar < 1 else f", bar {bar}"
    return f"you hear {listening.what}{where}"
