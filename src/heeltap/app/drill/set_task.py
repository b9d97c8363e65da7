"""What the set asks for where a drill is one of its exercises.

Inside: `set_task`.
"""

from pathlib import Path

from heeltap.app.drill.changes import tempo_of
from heeltap.app.drill.drill import Drill
from heeltap.app.practice.set_standing import Standing, standing_of
from heeltap.app.practice.sets import open_set
from heeltap.app.takes.history import history
from heeltap.errors import HeeltapError

__all__ = ["set_task"]

_REMEMBERED = 1_000
"""How many of the last takes are looked at: a year of practice."""


def set_task(drill: Drill, takes: Path) -> Standing | None:
    """How far the player is with the exercise of a set that this drill is, at the drill's tempo.

    Parameters
    ----------
    drill : Drill
    takes : Path
        The folder of all takes.

    Returns
    -------
    Standing or None
        None where no set asks for the drill, or set or takes cannot be read any more: a drill goes on without.
    """
    if not drill.item:
        return None
    called, _, number = drill.item.rpartition(":")
    try:
        opened = open_set(called)
        past = history(takes, last=_REMEMBERED).takes
    except HeeltapError:
        return None
    return standing_of(opened, opened.works[int(number) - 1], past, tempo_of(drill.whole or drill))
