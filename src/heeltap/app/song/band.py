"""Your part among the others of the song: who is early, how wide the band's hits are, and what that costs.

Inside: `Band`, `band_of`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.leader.band import BandHits, band_hits
from heeltap.analysis.leader.drums import follow_drums
from heeltap.analysis.leader.leader import PairLead, who_leads
from heeltap.analysis.offsets_of import Judged
from heeltap.analysis.strokes import fold_retriggers
from heeltap.app.song.open_song import OpenSong
from heeltap.model.arrays import FloatArray
from heeltap.model.notes import Notes
from heeltap.model.result import Calibration

__all__ = ["Band", "band_of"]

_Part = tuple[FloatArray, FloatArray]
"""Places, quarter notes, and played minus click, ms."""


@dataclass(frozen=True, slots=True)
class Band:
    """What is known of the band."""

    names: tuple[str, ...]
    """The drums, the song's other parts, the player's."""
    hits: tuple[BandHits | None, ...]
    """One a take; None where too few hits are shared, or there is no third part."""
    leads: tuple[tuple[PairLead, ...], ...]
    """For each take the player's part against each other part, the other one first."""
    delay_known: bool
    """False: the player's part is held around the drums' middle, and nobody knows who is early."""


def band_of(opened: OpenSong, judged: Sequence[Judged], calibration: Calibration) -> Band | None:
    """The band of a song that leads with drums; hits are told where it has a part beside them and the player's.

    Parameters
    ----------
    opened : OpenSong
    judged : sequence of Judged
        The takes.
    calibration : Calibration
        What is known of the recording's delay.

    Returns
    -------
    Band or None
        None where the song has no drums.
    """
    if opened.drummer is None:
        return None
    named = [
        part for part in opened.midi.parts if part.notes and part.name not in (opened.song.plan, opened.song.drums)
    ]
    followed = [
        (part.name or f"part {part.index}", _followed(opened, opened.midi.notes_of(part)))
        for part in named
        if not part.is_drums
    ]
    others = [(name, row) for name, row in followed if row[0].size]
    drums = opened.drummer.quarter, opened.drummer.offset_ms
    if not drums[0].size:
        return None
    hits, leads = [], []
    for one in judged:
        own = _own(opened, one, calibration)
        if not calibration.known and own[0].size:
            own = own[0], own[1] - np.median(own[1]) + np.median(drums[1])
        rows = [drums, *(row for _, row in others), own]
        hits.append(band_hits(rows) if others else None)
        found = who_leads(rows)
        leads.append(tuple(pair for pair in found if pair.second == len(rows) - 1))
    names = ("drums", *(name for name, _ in others), opened.song.part)
    return Band(names, tuple(hits), tuple(leads), calibration.known)


def _followed(opened: OpenSong, notes: Notes) -> _Part:
    """A part of the song against the click, each stroke where it was meant: as drums are followed, but every key counts."""
    time = opened.timeline
    part = follow_drums(fold_retriggers(notes).notes, time.tempo, time.metre, pitches=tuple(range(128)))
    return part.quarter, part.offset_ms


def _own(opened: OpenSong, judged: Judged, calibration: Calibration) -> _Part:
    """The player's strokes against the click, whatever they were judged against."""
    time, table = opened.timeline, judged.offsets
    beat_quarters = np.array(
        [time.metre.metre_of_bar(int(bar)).beat_quarters for bar in table.bar.tolist()], dtype=np.float64
    )
    quarter = time.metre.quarter_of_bar(table.bar) + (table.beat - 1.0) * beat_quarters
    at_ms = table.onset_us / 1000.0 - calibration.delay_ms
    return quarter, at_ms - time.tempo.us_at_quarter(quarter) / 1000.0
