"""Send all notes off for an engine that was killed before it could.

Inside: `silence`, `silence_left`.
"""

import contextlib
from collections.abc import Iterable

from heeltap.app.route.ports import is_device
from heeltap.app.takes.finish_take import Recovered
from heeltap.clock import SystemClock
from heeltap.devices.inputs import open_output
from heeltap.errors import HeeltapError
from heeltap.files.takes.folder import read_context
from heeltap.model.messages import ALL_NOTES_OFF

__all__ = ["silence", "silence_left"]


def silence(out_port: str | None) -> bool:
    """Send all notes off to an output; False where it could not be opened, which is then silent anyway."""
    if not out_port:
        return False
    try:
        port = open_output(out_port, SystemClock())
    except HeeltapError:
        return False
    with contextlib.suppress(OSError):
        for message in ALL_NOTES_OFF:
            port.send(message)
    port.close()
    return True


def silence_left(recovered: Iterable[Recovered]) -> None:
    """The same for every output of takes that a killed run left behind: a click may still sound there."""
    for name in {_out_port(one) for one in recovered}:
        if is_device(name):
            silence(name)


def _out_port(one: Recovered) -> str:
    """Where its click went; empty where nobody knows."""
    if one.folder is None:
        return ""
    try:
        return read_context(one.folder).out_port
    except HeeltapError:
        return ""
