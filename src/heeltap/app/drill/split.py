"""Where your hands part on one keyboard: asked once, before the first exercise that needs to know, and kept.

Inside: `QUESTION`, `split_wanted`, `keep_split`.
"""

from dataclasses import replace

import numpy as np

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.run import Settings
from heeltap.devices.inputs import KEYS_NAME
from heeltap.files.settings import read_settings, write_settings
from heeltap.model.pitch import LEFT, RIGHT
from heeltap.model.plan import ANY_PITCH

__all__ = ["QUESTION", "keep_split", "split_wanted"]

QUESTION = (
    "Which keys are your right hand's? Press its lowest key once, and heeltap keeps it. Enter begins without: then it cannot "
    "tell your hands apart."
)


def split_wanted(drill: Drill, settings: Settings) -> bool:
    """Whether a drill has a part for each hand on any keys, and nobody has said where the hands part.

    Parameters
    ----------
    drill : Drill
    settings : Settings

    Returns
    -------
    bool
        False on the computer's keyboard and on more than one input, where there is nothing to part.
    """
    alone = settings.in_ports[0] != KEYS_NAME and len(settings.in_ports) == 1
    hands = {LEFT, RIGHT} <= set(drill.plan.hand.tolist()) and bool(np.all(drill.plan.pitch == ANY_PITCH))
    return alone and hands and settings.player.split_key is None


def keep_split(settings: Settings, key: int) -> Settings:
    """The settings with the lowest key of the right hand, which is written down for every later drill.

    Parameters
    ----------
    settings : Settings
    key : int
        0-127.

    Returns
    -------
    Settings

    Raises
    ------
    SetFileError
        The settings file has a mistake, or cannot be written.
    """
    write_settings(replace(read_settings(), split_key=key))
    return replace(settings, player=replace(settings.player, split_key=key))
