"""The keys and the words of hearing a take again, the same wherever it is heard.

Inside: `LISTEN`, `LISTENING_KEYS`, `listening_keys`, `listening_commands`, `listening_words`.
"""

from collections.abc import Callable, Mapping

from heeltap.app.listen.player_control import PlayerControl
from heeltap.tui.keys import HELP, QUIT, Key

__all__ = ["LISTEN", "LISTENING_KEYS", "listening_commands", "listening_keys", "listening_words"]

LISTEN = Key(
    "l",
    "listen",
    "hear the bars to play again, the worst first, as you played them and then where they belong; l again is the whole take; "
    "before a take you hear what is to be played",
)

_OTHER = Key("v", "other version", "from here on as it was played, or with every stroke where it belongs: at the lean")

_WHOLE = Key("l", "whole take", "the whole take from its count-in")

LISTENING_KEYS = (
    Key("escape", "silence", "stop listening", "esc"),
    _OTHER,
    _WHOLE,
    Key("left", "back", "four bars back, or to the bars listed before", "left"),
    Key("right", "on", "four bars on, or to the bars listed next", "right"),
    HELP,
    QUIT,
)
"""While a take is heard."""


def listening_keys(listening: PlayerControl) -> tuple[Key, ...]:
    """The keys of what is heard: a plan has no other version, and only from a list of bars there is a whole to go to."""
    left_out = {_OTHER: not listening.has_other, _WHOLE: not listening.in_turn}
    return tuple(key for key in LISTENING_KEYS if not left_out.get(key, False))


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
