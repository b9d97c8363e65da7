"""Takes that a killed drill left behind: finished by the next command that looks at takes, and said.

Inside: `finish_left_behind`.
"""

import sys
from pathlib import Path

from heeltap.safe_text import safe_line

__all__ = ["finish_left_behind"]


def finish_left_behind(takes: Path) -> None:
    """Finish every take that a killed drill left behind, silence what still sounds of it, and say so on stderr.

    Takes that are being played now are passed over; where nothing lies there, nothing is loaded.

    Parameters
    ----------
    takes : Path
        The folder of all takes.
    """
    from heeltap.files.takes.folder import open_takes

    if not open_takes(takes):
        return
    from heeltap.app.drill.silence import silence_left
    from heeltap.app.takes.finish_take import recover

    found = recover(takes)
    silence_left(found)
    for one in found:
        if one.problem:
            said = f"an earlier drill left a take behind that heeltap cannot finish: {one.problem}"
        else:
            said = f"an earlier drill left a take behind; heeltap finished it: {one.folder}"
        print(safe_line(f"heeltap: {said}"), file=sys.stderr)
