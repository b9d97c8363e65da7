"""Names of MIDI ports without the numbers that a system hands out anew at every start, so that you can keep them.

Inside: `stable_name`, `stable_names`, `find_port`.
"""

import re
import sys
from collections.abc import Sequence

from heeltap.errors import PortError, sentence

__all__ = ["find_port", "stable_name", "stable_names"]

_ALSA_NUMBER = re.compile(r" \d+:\d+$")
"""Linux' sequencer: ``Pad:Pad MIDI 1 20:0`` (client and port)."""

_BRIDGE_NUMBER = re.compile(r" \[\d+\](?= \((?:capture|playback)\))")
"""JACK's bridge from that sequencer: ``a2j:Pad [20] (capture): Pad MIDI 1``."""

_WINDOWS_NUMBER = re.compile(r" \d+$")
"""Windows: the driver library adds the port's place in the list."""


def stable_name(name: str, *, windows: bool | None = None) -> str:
    """The name without the numbers that change between starts.

    Parameters
    ----------
    name : str
        As the system says it.
    windows : bool, optional
        Whether it comes from Windows, where the last number is only a place in a list; by default this machine's
        system.

    Examples
    --------
    >>> stable_name("Pad:Pad MIDI 1 20:0", windows=False)
    'Pad:Pad MIDI 1'
    >>> stable_name("a2j:Pad [20] (capture): Pad MIDI 1", windows=False)
    'a2j:Pad (capture): Pad MIDI 1'
    """
    if windows is None:
        windows = sys.platform == "win32"
    short = _BRIDGE_NUMBER.sub("", _ALSA_NUMBER.sub("", name))
    return (_WINDOWS_NUMBER.sub("", short) if windows else short) or name


def stable_names(names: Sequence[str], *, windows: bool | None = None) -> list[str]:
    """The stable name of each port; of several alike the second is called ``... #2``, the third ``... #3``.

    >>> stable_names(["Pad 20:0", "Pad 24:0"], windows=False)
    ['Pad', 'Pad #2']
    """
    seen: dict[str, int] = {}
    result = []
    for name in names:
        short = stable_name(name, windows=windows)
        seen[short] = seen.get(short, 0) + 1
        result.append(short if seen[short] == 1 else f"{short} #{seen[short]}")
    return result


def find_port(wanted: str, names: Sequence[str], *, what: str = "MIDI port", windows: bool | None = None) -> int:
    """Index of the port that is meant: by its full name, its stable name, or a beginning that only one has.

    A name kept from an earlier start may carry that day's numbers: it is looked up without them too. Case does not
    matter for a beginning.

    Raises
    ------
    PortError
        None or several fit; the message names those that there are.
    """
    short = stable_names(names, windows=windows)
    for candidates, name in ((names, wanted), (short, wanted), (short, stable_name(wanted, windows=windows))):
        if name in candidates:
            return list(candidates).index(name)
    near = [i for i, name in enumerate(short) if name.casefold().startswith(wanted.casefold())]
    if len(near) == 1:
        return near[0]
    expected = "one of: " + ", ".join(short) if short else "a MIDI device (there is none now)"
    found = "fits several ports" if near else "no such port"
    raise PortError(sentence(f"{what} '{wanted}'", found, expected))
