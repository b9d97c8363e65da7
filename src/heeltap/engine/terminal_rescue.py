"""Give the terminal back when the program that draws on it was killed.

A killed program cannot leave its full screen nor bring back the cursor, the echo and the line mode. The engine is alive
then, notices within a turn that its partner is gone, and does it instead. Where the engine was killed as well, or none runs, a
shell that waits beside both does it: it has another name and a session of its own, so what kills heeltap by its name or its
process group leaves it alive.

Inside: `Terminal`, `terminal_now`, `give_back`, `watched`.
"""

import contextlib
import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

__all__ = ["LEAVE", "Terminal", "give_back", "terminal_now", "watched"]

LEAVE = (
    b"\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?1004l\x1b[?2004l"  # mouse, focus and paste reports off
    b"\x1b[<u\x1b[?1049l\x1b[?25h\x1b[0m"  # plain keys, the ordinary screen, the cursor, no attributes
)

_WATCH = """
trap '' INT TERM HUP QUIT
saved=$(stty -g <"$1") || exit 1
echo ready
read -r word
[ "$word" = done ] && exit
sleep 0.3
printf "$2" >"$1"
case " $(stty -a <"$1" | tr '\\n' ' ') " in *" -isig "*) stty "$saved" <"$1";; esac
"""
"""Waits for a word; where its writer died without one it leaves the full screen. The modes are set only where Ctrl-C still does
nothing, as on a drawn screen: a shell that edits its line has set its own by then, and would be disturbed."""


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


@contextmanager
def watched(terminal: Terminal | None) -> Iterator[None]:
    """Have the terminal given back by somebody else if this process is killed while this lasts.

    Parameters
    ----------
    terminal : Terminal or None
        Nothing is done where there is none, or no shell that could watch.
    """
    watch = None if terminal is None else _watch(terminal)
    try:
        yield
    finally:
        if watch is not None and watch.stdin is not None:
            with contextlib.suppress(OSError):
                watch.stdin.write(b"done\n")
                watch.stdin.close()
            watch.wait()


def _watch(terminal: Terminal) -> "subprocess.Popen[bytes] | None":
    """The shell, once it knows the modes; None where there is no shell, or it cannot read them."""
    leave = "".join(f"\\{byte:03o}" for byte in LEAVE)
    pipe = subprocess.PIPE
    try:
        watch = subprocess.Popen(
            ["/bin/sh", "-c", _WATCH, "watch", terminal.path, leave],
            stdin=pipe,
            stdout=pipe,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError:
        return None
    with watch.stdout:  # type: ignore[union-attr]
        ready = watch.stdout.readline()  # type: ignore[union-attr]
    if ready:
        return watch
    watch.wait()
    return None
