"""Whether the drums that sound lead: then a stroke is early or late against kick and snare, not against the click.

Inside: `leads`, `led_by`, `drums_of`, `drums_ahead`, `shift_us`.
"""

from dataclasses import replace

import numpy as np

from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import kick_and_snare
from heeltap.analysis.strokes import fold_retriggers
from heeltap.app.drill.backing import wish_of
from heeltap.app.drill.drill import Drill
from heeltap.errors import OptionError, sentence
from heeltap.files.takes.metadata import DrumsOut, drums_from
from heeltap.model.arrays import IntArray
from heeltap.model.messages import is_note_on
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.sound.drums import DRUM
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["drums_ahead", "drums_of", "leads", "led_by", "shift_us"]


def leads(drill: Drill) -> bool:
    """Whether a take of this drill is judged against its drums.

    Unless the player says otherwise, the drums of a song lead: a recorded drummer is early and late himself. A pattern of
    heeltap's own stands on the click, and a set is judged against its click on the class page as well.

    Parameters
    ----------
    drill : Drill

    Returns
    -------
    bool
    """
    heard = drums_of(drill)
    if heard is None or not len(kick_and_snare(drums_from(heard, drill.name), channel=None)):
        return False
    return wish_of(drill.heard).source == "part" and not drill.item if drill.drums_lead is None else drill.drums_lead


def led_by(drill: Drill, leader: str | None) -> Drill:
    """The drill, measured against what the player names.

    Parameters
    ----------
    drill : Drill
    leader : str, optional
        ``drums`` or ``click``; None leaves it to heeltap.

    Returns
    -------
    Drill

    Raises
    ------
    OptionError
        No drums sound that could lead, or a set asks for the drill.
    """
    if leader is None:
        return drill
    led = replace(drill, drums_lead=leader == "drums")
    if leader == "drums" and drill.item:
        raise OptionError(sentence(drill.item, "--leader drums", "none", "a set is judged against its click"))
    if leader == "drums" and not leads(led):
        hint = "let drums sound: --click part:drums or beat:NAME"
        raise OptionError(sentence("--leader drums", "no kick and snare sound", "drums that you play to", hint))
    return led


def drums_of(drill: Drill) -> DrumsOut | None:
    """The drum strokes of a drill and when they are due; None where only a click sounds.

    Parameters
    ----------
    drill : Drill

    Returns
    -------
    DrumsOut or None
        Times in microseconds from bar 1, beat 1.
    """
    sounds = drill.backing
    if sounds is None:
        return None
    rows = [i for i, kind in enumerate(sounds.kind) if kind == DRUM and is_note_on(sounds.messages[i])]
    if not rows:
        return None
    struck = [sounds.messages[i] for i in rows]
    at_us = [int(sounds.due_us[i]) for i in rows]
    return DrumsOut(wish_of(drill.heard).name, at_us, [one[1] for one in struck], [one[2] for one in struck])


def drums_ahead(drill: Drill) -> Notes | None:
    """The drums that lead the drill, as they are due; None where the click does.

    Parameters
    ----------
    drill : Drill

    Returns
    -------
    Notes or None
    """
    heard = drums_of(drill) if leads(drill) else None
    return None if heard is None else drums_from(heard, drill.name)


def shift_us(plan: Plan, drums: Notes) -> IntArray:
    """How far kick and snare lie behind the click at each note of a plan, as the report measures it.

    Parameters
    ----------
    plan : Plan
    drums : Notes
        All strokes of the drummer.

    Returns
    -------
    int64, shape (notes of the plan,)
        Microseconds; negative is early.
    """
    leader = follow_drums(fold_retriggers(drums).notes, plan.tempo, plan.metre)
    reference_ms, _ = leader.reference_ms_at(plan.at_tick / TICKS_PER_QUARTER)
    return np.rint(1000 * reference_ms).astype(np.int64)
