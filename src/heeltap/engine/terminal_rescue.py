"""Give the terminal back when the program that draws on it was killed.

A killed program cannot leave its full screen nor bring back the cursor, the echo and the line mode. The engine is alive
then, notices within a turn that its partner is gone, and does it instead.

Inside: `Terminal`, `terminal_now`, `give_back`.
"""

import contextlib
import os
import signal
from typing import Any, NamedTuple

__all__ = ["LEAVE", "Terminal", "give_back", "terminal_now"]

LEAVE = (
    b"\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?1004l\x1b[?2004l"  # mouse, focus and paste reports off
    b"\x1b[<u\x1b[?1049l\x1b[?25h\x1b[0m"  # plain keys, the ordinary screen, the cursor, no attributes
)


class Terminal(NamedTuple):
    """A terminal as it was before anything was drawn."""

    path: str
    """Of its device."""
    modes: list[Any]
    """As `termios.tcgetattr` gives them."""


def terminal_now(descriptor: int = 0) -> Terminal | None:
    """The terminal behind a descriptor as it is now; None where there is none, or on a system without termios."""
    try:
        import termios

        return Terminal(os.ttyname(descriptor), termios.tcgetattr(descriptor))
    except (ImportError, OSError, AttributeError, ValueError):
        return None
    except termios.error:  # not an OSError; raised where the descriptor is no terminal
        return None


def give_back(terminal: Terminal) -> None:
    """Leave the full screen and set the old modes; a terminal that is gone needs nothing."""
    import termios

    with contextlib.suppress(OSError, ValueError, termios.error):
        # Without this a process in the background is stopped when it sets modes, and the shell may be in front already.
        signal.signal(signal.SIGTTOU, signal.SIG_IGN)
        descriptor = os.open(terminal.path, os.O_WRONLY | os.O_NOCTTY)
        try:
            os.write(descriptor, LEAVE)
            termios.tcsetattr(descriptor, termios.TCSANOW, terminal.modes)
        finally:
            os.close(descriptor)
