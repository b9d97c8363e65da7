"""A take seen twice: by the session while it is played, and by the full scoring afterwards.

Inside: `follow` (a whole take through the session), `Agreement`, `agreement`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from heeltap.analysis.align import align
from heeltap.analysis.strokes import fold_retriggers
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.session.matcher import Stroke
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import BarDone, Begin, Effect, Elapsed, Event, Note, State, begin, step
from tests.makers.players import SimulatedTake

__all__ = ["Agreement", "agreement", "follow"]

SAME_US = 1_000
"""A stroke whose two offsets differ by no more is the same: one note taken for another is tens of milliseconds off."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """How many strokes the screen and the result see alike."""

    strokes: int
    at_once: int
    """As the light matcher had them before any second look."""
    at_the_bar: int
    """As they were shown when their bar was over."""
    at_the_end: int

    def __add__(self, other: "Agreement") -> "Agreement":
        return Agreement(
            self.strokes + other.strokes,
            self.at_once + other.at_once,
            self.at_the_bar + other.at_the_bar,
            self.at_the_end + other.at_the_end,
        )


def follow(part: Plan, notes: Notes, *, delay_ms: float | None) -> tuple[State, list[Effect], list[Stroke]]:
    """The last state of a take, every effect, and each stroke as it was just before its bar was looked at again."""
    columns = columns_of(part, delay_ms=delay_ms)
    heard: list[Event] = [
        Note(at, pitch, velocity)
        for at, pitch, velocity in zip(
            notes.onset_us.tolist(), notes.pitch.tolist(), notes.velocity.tolist(), strict=True
        )
    ]
    last = max(columns.end_us + columns.delay_us, int(notes.onset_us.max(initial=0))) + 500_000
    ticks: list[Event] = [Elapsed(us) for us in range(-1_000_000, last, 33_000)]
    state = step(begin(columns), Begin())[0]
    effects: list[Effect] = []
    before = list(state.strokes)
    for event in sorted([*ticks, *heard], key=lambda one: one.at_us):
        old = state
        state, new = step(state, event)
        effects += new
        if state.bars_done == old.bars_done and old.phase is state.phase:
            first = columns.bars[state.bars_done].targets.start if state.bars_done < len(columns.bars) else len(before)
            before[first:] = state.strokes[first:]
    return state, effects, before


def agreement(part: Plan, take: SimulatedTake, *, calibrated: bool = True) -> Agreement:
    """How many strokes are alike in the session and in the full scoring, with or without a known delay."""
    delay_ms = take.delay_ms if calibrated else None
    folded = fold_retriggers(take.notes).notes
    found = align(part.at_us, part.pitch, folded.onset_us, folded.pitch, delay_ms=delay_ms)
    shift_us = round(1000 * take.delay_ms) if calibrated else 0
    full: list[float | None] = []
    for stroke in range(int(part.stroke[-1]) + 1):
        rows = np.flatnonzero((part.stroke == stroke) & (found.match >= 0))
        played = folded.onset_us[found.match[rows]] - part.at_us[rows] - shift_us
        full.append(float(np.median(played)) if rows.size else None)
    state, effects, before = follow(part, take.notes, delay_ms=delay_ms)
    shown: list[Stroke] = []
    for effect in effects:
        if isinstance(effect, BarDone):
            shown += effect.result.strokes
    return Agreement(len(full), _alike(before, full), _alike(shown, full), _alike(state.strokes, full))


def _alike(strokes: Sequence[Stroke], full: list[float | None]) -> int:
    """Strokes that both leave out, or both give the same offset."""
    pairs = zip([stroke.offset_us for stroke in strokes], full, strict=False)
    return sum(
        (live is None and whole is None) or (live is not None and whole is not None and abs(live - whole) <= SAME_US)
        for live, whole in pairs
    )
