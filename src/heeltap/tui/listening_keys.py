"""The keys and the words of hearing a take again, the same wherever it is heard.

Inside: `LISTEN`, `LISTENING_KEYS`, `listening_commands`, `listening_words`.
"""

from collections.abc import Callable, Mapping

from heeltap.jobs.listening import Listening
from heeltap.tui.keys import HELP, QUIT, Key

__all__ = ["LISTEN", "LISTENING_KEYS", "listening_commands", "listening_words"]

LISTEN = Key("l", "listen", "hear it with the click, through the output in use; before a take, what is to be played")

LISTENING_KEYS = (
    Key("escape", "silence", "stop listening", "esc"),
    Key("v", "other version", "from here on as it was played, or with every stroke where it belongs: at the lean"),
    Key("left", "back", "four bars back", "left"),
    Key("right", "on", "four bars on", "right"),
    HELP,
    QUIT,
)
"""While something is heard."""


def listening_commands(listening: Listening) -> Mapping[str, Callable[[], object]]:
    """What `LISTENING_KEYS` do, but for help and quit."""
    return {
        "escape": listening.stop,
        "v": listening.other,
        "left": lambda: listening.jump(-1),
        "right": lambda: listening.jump(1),
    }


def listening_words(listening: Listening) -> str:
    """What is heard, and where it stands; empty when nothing is."""
    if listening.problem:
        return listening.problem
    if not listening.on:
        return ""
    bar = listening.bar
    where = "" if bar is None else ", count-in" if bar < 1 else f", bar {bar}"
    return f"you hear {listening.what}{where}"
