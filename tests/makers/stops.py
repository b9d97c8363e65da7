"""Players who fall silent: a take of an exercise or of a loop in which nothing is played for some bars.

Inside: `loop_of` (one to four bars over and over), `Silence`, `silent_take`, `stray_strokes`.
"""

from dataclasses import dataclass, replace

import numpy as np

from heeltap.model.arrays import IntArray
from heeltap.model.plan import ANY_PITCH, Plan, Section
from tests.makers.players import Player, SimulatedTake, make_part, play_part

__all__ = ["Silence", "loop_of", "silent_take", "stray_strokes"]


@dataclass(frozen=True, slots=True)
class Silence:
    """Bars in which nothing is played."""

    bar: int
    """First silent bar, from 1."""
    bars: int
    """How many; a player who stops for good is silent to the end."""


def loop_of(rng: np.random.Generator, figure: str, *, bars: int, times: int, tempo_bpm: float) -> Plan:
    """A part of ``bars`` bars played over and over: nothing in it tells one time from the next."""
    once = make_part(rng, figure, tempo_bpm=tempo_bpm, bars=bars, section_bars=0, fills=False, uneven_start=False)
    bar_ticks = 4 * 10_080
    again = np.repeat(np.arange(times), len(once))
    tick = np.tile(once.at_tick, times) + again * bars * bar_ticks
    return Plan(
        "loop", tick, once.tempo.us_at(tick), *(np.tile(one, times) for one in (once.pitch, once.velocity)),
        *(np.tile(one, times) for one in (once.hand, once.kind)),
        np.tile(once.stroke, times) + again * (int(once.stroke[-1]) + 1),
        once.tempo, once.metre, (Section("all", 1, bars * times),), bars * times,
    )  # fmt: skip


def silent_take(rng: np.random.Generator, part: Plan, player: Player, silence: Silence) -> SimulatedTake:
    """A take of the part with everything in the silent bars left out."""
    whole = play_part(rng, replace(part, pitch=np.where(part.pitch == ANY_PITCH, 60, part.pitch)), player)
    low, high = part.tempo.us_at_quarter(part.metre.quarter_of_bar([silence.bar, silence.bar + silence.bars]))
    planned = (part.at_us >= low - 1000) & (part.at_us < high - 1000)
    gone = np.zeros(len(whole.notes), bool)
    gone[whole.match[planned & (whole.match >= 0)]] = True
    delay_us = 1000 * player.delay_ms
    stray = whole.extra
    gone[stray] |= (whole.notes.onset_us[stray] >= low + delay_us) & (whole.notes.onset_us[stray] < high + delay_us)
    new = np.cumsum(~gone) - 1
    match = np.where((whole.match >= 0) & ~gone[whole.match], new[whole.match], -1)
    return SimulatedTake(
        whole.notes.pick(~gone), match, whole.wrong & (match >= 0), new[stray[~gone[stray]]],
        np.where(match >= 0, whole.offset_us, np.nan), player.delay_ms,
    )  # fmt: skip


def stray_strokes(part: Plan, take: SimulatedTake, match: IntArray) -> int:
    """Planned notes answered more than half a beat away from the take's own delay."""
    hit = np.flatnonzero(match >= 0)
    off_us = take.notes.onset_us[match[hit]] - part.at_us[hit] - 1000 * take.delay_ms
    beat_us = part.tempo.us_per_quarter_at(part.at_us[hit])
    return int(np.sum(np.abs(off_us) > beat_us / 2))
