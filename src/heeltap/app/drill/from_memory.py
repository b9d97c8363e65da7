"""The result of a take that the disk has not got, from the notes as they were stamped live.

Inside: `from_memory`.
"""

from collections.abc import Iterable
from dataclasses import replace

from heeltap.analysis.analyse import analyse
from heeltap.app.drill.drill import Drill
from heeltap.app.takes.load_scored_inputs import options_of
from heeltap.files.takes.left_out import leave_out
from heeltap.files.takes.metadata import Context
from heeltap.model.arrays import as_ints
from heeltap.model.notes import Notes, make_notes
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.session.session import Note

__all__ = ["from_memory"]


def from_memory(
    notes: Iterable[Note], drill: Drill, context: Context, *, ahead: Notes | None, early_us: int | None
) -> Result | None:
    """The result; None where nothing was played.

    Parameters
    ----------
    notes : iterable of Note
        As they came.
    drill, context
        What was played, and how.
    ahead : Notes, optional
        The drums that lead.
    early_us : int, optional
        Where an unfinished take ends, microseconds from bar 1, beat 1.

    Returns
    -------
    Result or None
    """
    struck = sorted(notes)
    if not struck:
        return None
    onset_us, pitch, velocity, port = zip(*struck, strict=True)
    table = replace(make_notes(onset_us, pitch, velocity), track=as_ints(port))
    kept, plan = leave_out(table, drill.plan, [], early_us)
    played = Played(kept, plan.tempo, plan.metre, plan, file=context.name, part=context.in_port)
    if ahead is not None and context.drums is not None:
        played = replace(played, leader=ahead, leader_name=context.drums.name)
    return analyse(played, options_of(context))
