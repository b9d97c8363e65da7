"""A whole drum part as the leader: read on the grid with all its drums, followed by kick and snare.

Kick and snare alone are often too few to tell a beat from a sixteenth before it: of 17 recorded drummers the grid shifted
one by a sixteenth when it saw kick and snare only, two when it saw the cymbals only, and none when it saw both. Ours.

Inside: `follow_drums`.
"""

import numpy as np

from heeltap.analysis.leader.leader import LEADER_PITCHES, Leader, fit_leader
from heeltap.analysis.quantise import quantise
from heeltap.analysis.strokes import strokes
from heeltap.model.notes import Notes
from heeltap.model.timeline import MetreMap, TempoMap

__all__ = ["follow_drums"]


def follow_drums(
    drums: Notes,
    tempo: TempoMap,
    metre: MetreMap,
    *,
    pitches: tuple[int, ...] = LEADER_PITCHES,
    delay_ms: float = 0.0,
) -> Leader:
    """Learn the leader's time from a drum part.

    Parameters
    ----------
    drums : Notes
        All notes of the part, double triggers folded; not only kick and snare.
    tempo, metre
        The click's.
    pitches : tuple of int
        Drums that lead: kick, side stick and snare.
    delay_ms : float
        Known delay of the drums' own route, taken away.

    Returns
    -------
    Leader
        Offsets are those of the leading notes themselves, not of the strokes that they are part of. Without a leading
        note that found a slot: a silent leader.
    """
    grouped = strokes(drums)
    slots = quantise(grouped.at_us, tempo, metre, delay_ms=delay_ms)
    stroke = grouped.stroke_of_note
    leading = np.isin(drums.pitch, np.asarray(pitches)) & slots.placed[stroke]
    own_ms = (drums.onset_us[leading] - grouped.at_us[stroke[leading]]) / 1000.0
    return fit_leader(slots.quarter[stroke[leading]], slots.offset_ms[stroke[leading]] + own_ms)
