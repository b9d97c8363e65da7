"""The click as MIDI: count-in and clicks as messages with due times.

Inside: `ClickSound`, `CLICK_SOUNDS`, `NO_CLICKS`, `click_schedule`.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from heeltap.errors import PlanError, sentence
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints
from heeltap.model.exercise import Clicks
from heeltap.model.messages import Schedule
from heeltap.model.timeline import MetreMap, TempoMap
from heeltap.sound.percussion import CHANNEL, METRONOME, SIDE_STICK, WOOD_BLOCK
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["CLICK_SOUNDS", "NO_CLICKS", "ClickSound", "Clicked", "click_schedule", "count_click"]


class Clicked(Protocol):
    """The clicks of an exercise (`heeltap.model.exercise.Clicks` is one)."""

    @property
    def at_tick(self) -> IntArray:
        """Position of each from bar 1, beat 1, in ticks of 10,080 per quarter."""

    @property
    def strength(self) -> FloatArray:
        """Loudness 0-1."""

    @property
    def is_one(self) -> BoolArray:
        """Whether it is the first beat of a bar."""


@dataclass(frozen=True, slots=True)
class ClickSound:
    """How the click sounds."""

    beat: int = WOOD_BLOCK[0]
    """Key of a plain beat."""
    one: int = WOOD_BLOCK[1]
    """Key of the first beat of a bar."""
    channel: int = CHANNEL
    """0-15 as on the wire."""
    loudest: int = 110
    """Velocity of a click of strength 1."""
    length_us: int = 40_000
    """Until the note-off; percussion rings on regardless. 0 sends none."""


CLICK_SOUNDS = {
    "wood": ClickSound(),
    "metronome": ClickSound(*METRONOME),
    "stick": ClickSound(*SIDE_STICK),
}
"""Sounds by name; wood is the default because every General MIDI synthesizer has it."""


NO_CLICKS: Clicked = Clicks(as_ints([]), np.zeros(0), np.zeros(0, np.bool_))
"""The count-in only."""


def click_schedule(
    tempo: TempoMap,
    metre: MetreMap,
    bars: int,
    *,
    clicks: Clicked | None = None,
    count_in_bars: int = 1,
    sound: ClickSound = CLICK_SOUNDS["wood"],
) -> Schedule:
    """Count-in and clicks as messages.

    Parameters
    ----------
    tempo, metre : TempoMap, MetreMap
        Of the plan; tick 0 is bar 1, beat 1.
    bars : int
        Length, from bar 1.
    clicks : Clicked, optional
        Which clicks sound; every beat, the one loudest, where not given.
    count_in_bars : int
        Whole bars before bar 1, in its metre and tempo, always with every beat.
    sound : ClickSound
        What they sound like.

    Returns
    -------
    Schedule
        Times from bar 1, beat 1, the count-in negative; ``kind`` is ``count-in``, ``accent`` (the one), ``click`` or
        ``off``.

    Raises
    ------
    PlanError
        A negative count-in or number of bars.
    """
    if bars < 0 or count_in_bars < 0:
        raise PlanError(sentence("click", f"{bars} bars, {count_in_bars} of count-in", "0 or more of each"))
    before, before_one = _count_in(metre, count_in_bars)
    quarters, one = _every_beat(metre, bars if clicks is None else 0)
    tick = np.rint(np.concatenate([before, quarters]) * TICKS_PER_QUARTER).astype(np.int64)
    one = np.concatenate([before_one, one])
    strength = np.where(one, 1.0, 0.7)
    if clicks is not None:
        tick = np.concatenate([tick, clicks.at_tick])
        one = np.concatenate([one, clicks.is_one])
        strength = np.concatenate([strength, clicks.strength])
    end_tick = round(float(metre.quarter_of_bar(bars + 1)) * TICKS_PER_QUARTER)
    return _messages(tempo.us_at_position(tick), one, strength, int(tempo.us_at_position([end_tick])[0]), sound)


def count_click(sound: ClickSound) -> tuple[bytes, bytes]:
    """The note-on of the one, and that of every other beat of a count.

    Parameters
    ----------
    sound : ClickSound

    Returns
    -------
    tuple of bytes
    """
    softer = max(1, round(sound.loudest * 0.7))
    return bytes((0x90 | sound.channel, sound.one, sound.loudest)), bytes((0x90 | sound.channel, sound.beat, softer))


def _count_in(metre: MetreMap, bars: int) -> tuple[FloatArray, BoolArray]:
    """Position of each beat of the count-in in quarters, below 0, and whether it is the one of a bar."""
    length, counted = metre.count_in_quarters(bars), metre.counted_metre
    beats = np.arange(0.0, length - 1e-9, counted.beat_quarters)
    one = np.mod(beats + 1e-9, counted.bar_quarters) < 2e-9
    return beats - length, one


def _every_beat(metre: MetreMap, last_bar: int) -> tuple[FloatArray, BoolArray]:
    """Position of each beat of the bars from the first to this one in quarters, and whether it is the one."""
    place: list[float] = []
    one: list[bool] = []
    for bar in range(1, last_bar + 1):
        kind = metre.metre_of_bar(bar)
        start, end = (float(metre.quarter_of_bar(number)) for number in (bar, bar + 1))
        beats = [start + k * kind.beat_quarters for k in range(kind.beats)]
        place += [beat for beat in beats if beat < end - 1e-9]  # a change of metre may cut a bar short
        one += [beat == start for beat in beats if beat < end - 1e-9]
    return np.array(place, dtype=np.float64), np.array(one, dtype=np.bool_)


def _messages(due: IntArray, one: BoolArray, strength: FloatArray, end_us: int, sound: ClickSound) -> Schedule:
    """Note-ons and note-offs in time order."""
    rows: list[tuple[int, int, bytes, str]] = []
    for at, first, level in zip(due.tolist(), one.tolist(), strength.tolist(), strict=True):
        key = sound.one if first else sound.beat
        velocity = min(127, max(1, round(sound.loudest * level)))
        kind = "count-in" if at < 0 else "accent" if first else "click"
        rows.append((at, 1, bytes((0x90 | sound.channel, key, velocity)), kind))
        if sound.length_us:
            rows.append((at + sound.length_us, 0, bytes((0x80 | sound.channel, key, 0)), "off"))
    rows.sort(key=lambda row: row[:2])
    return Schedule(as_ints(r[0] for r in rows), tuple(r[2] for r in rows), tuple(r[3] for r in rows), end_us)
