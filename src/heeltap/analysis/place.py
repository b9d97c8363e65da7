"""Where a take lies on its plan, found out before any number is made.

A take may begin at bar 9, leave a bar out, start again from the top, lie 350 ms late because of the recording, stand an octave
higher, run at another tempo, or be another piece altogether. None of that is timing. So the take is looked at as a whole first:
its keys against the plan's (transposition), differences of time between equal keys (places), the best way through the take from
place to place (Viterbi; Rabiner 1989, Proc. IEEE 77, from memory), and how many notes chance alone would have found. What
remains is the player's. Ours.

Inside: `Place`, `Run`, `find_place`, `at_tempo`, `beat_us`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.planned_keys import NEAR_US, PlannedKeys, differences
from heeltap.model.arrays import BoolArray, FloatArray, IntArray
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.model.timeline import TempoMap
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["Place", "Run", "at_tempo", "beat_us", "find_place"]

_ORDINARY, _BLOCK, _WEAK = 0.93, 24, 0.75
"""Share of notes found in place from which a take is ordinary at first sight, if no so many in a row fall below the last.

A groove fits a bar aside as well, all but its fills: so the look at the whole is spared only where hardly a note is out of place.
"""

_MOST_NOTES = 30_000
"""Longer takes are not looked at."""

_PLACES = 24
"""How many places are tried."""

_NOWHERE, _MOVE, _BEGIN, _FEWEST = 0.6, 5.0, 2.0, 6
"""Price of a note that lies nowhere, of a change of place, of beginning elsewhere than at the plan's own place (a note that its
place does not have costs 1), and the fewest notes of a run."""

_FOUND, _OVER_CHANCE, _LEAST = 0.3, 2.0, 8
"""A take is of this plan if this share of its notes is found, so many times what chance gives, and so many at least."""

_REST = 0.5
"""How much a second of rest takes off the price of a change."""

_FEW_RUNS, _LONG_RUN = 4, 80
"""More changes of place than these, or than one in so many notes, and the plan explains nothing."""

_OWN_US = 60_000
"""A player may lie so far from a place."""

_RECORDING_US = 75_000
"""What lies further than this from whole beats is the recording: a player of 60 ms who scatters stays a player."""

_RATIOS = np.exp(np.linspace(np.log(0.45), np.log(2.2), 400))
"""Tempi that are tried, take over plan: 0.4 % apart."""

_OPENING = 60
"""Notes by which a tempo is looked for."""

_WHOLE_ROUNDS = 5
"""How often the tempo is refined on the whole take."""

_SAME_TEMPO = 0.004

_WELL, _BETTER = 0.8, 0.15
"""Share of the notes, and of what is planned where the take goes past, from which a plan explains a take at its own tempo; and
how much better another tempo must do."""


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of the take that lies at one place."""

    first: int
    """Row of its first note, as played."""
    last: int
    shift_us: int
    """How much later than planned it lies, the player's own offset left in."""
    beats: float
    """The whole beats of that; 0 where it lies at its own place."""
    first_bar: int
    """Of the plan."""
    last_bar: int
    first_tick: int
    last_tick: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where a take lies on its plan."""

    semitones: int = 0
    """How much higher than the plan it was played."""
    tempo_ratio: float = 1.0
    """Its tempo over the plan's."""
    runs: tuple[Run, ...] = ()
    """In the order of playing; none where the take is ordinary."""
    recording_us: int = 0
    """How much later than its place everything lies; more than any player would."""
    found: int = 0
    """Notes that were found at their place."""
    notes: int = 0
    chance: int = 0
    """Notes that chance alone would have found."""
    covered: float = 1.0
    """Share of what is planned where the take goes past that was played."""
    is_the_plan: bool = True
    """Whether this is a take of the plan at all."""

    @property
    def worth(self) -> float:
        """How well the plan explains the take: its notes found, less what the changes of place cost."""
        return self.found - _MOVE * max(len(self.runs) - 1, 0)


def find_place(plan: Plan, notes: Notes) -> Place:
    """Where a take lies on its plan.

    Parameters
    ----------
    plan : Plan
        One that accepts any key is taken as it lies: nothing tells its places apart.
    notes : Notes
        The take, on the click's clock.

    Returns
    -------
    Place
    """
    if len(plan) < _LEAST or not _LEAST <= len(notes) <= _MOST_NOTES or np.any(plan.pitch < 0):
        return Place()
    planned = PlannedKeys.of(plan)
    if _is_ordinary(planned, notes.pitch, notes.onset_us):
        return Place()
    semitones = _transposition(planned, notes)
    keys = notes.pitch - semitones
    best, ratio = _way(plan, keys, notes.onset_us), 1.0
    if best.worth < _WELL * len(notes) or best.covered < _WELL:
        for tried in (_tempo_ratio(planned, keys, notes.onset_us), 0.5, 2.0):
            other = _way(at_tempo(plan, tried), keys, notes.onset_us)
            better = other.worth + other.covered * len(notes) - best.worth - best.covered * len(notes)
            if abs(tried - 1.0) > _SAME_TEMPO and better > _BETTER * len(notes):
                best, ratio = other, tried
    if semitones == 0 and ratio == 1.0 and best.is_the_plan and best.recording_us == 0 and _own_place(best.runs):
        return Place()
    return replace(best, semitones=semitones, tempo_ratio=ratio)


def _own_place(runs: tuple[Run, ...]) -> bool:
    """Whether a take is one run at its own place."""
    return len(runs) == 1 and runs[0].beats == 0.0 and abs(runs[0].shift_us) <= _OWN_US


def at_tempo(plan: Plan, ratio: float) -> Plan:
    """The plan at so many times its tempo.

    Parameters
    ----------
    plan : Plan
    ratio : float
        2 is twice as fast.

    Returns
    -------
    Plan
    """
    old = plan.tempo
    per_quarter = np.clip(np.rint(old.us_per_quarter / ratio), 1, 2**24 - 1).astype(np.int64)
    tempo = TempoMap(old.ticks_per_quarter, old.at_tick.copy(), per_quarter)
    return replace(plan, tempo=tempo, at_us=np.rint(plan.at_us / ratio).astype(np.int64))


def _is_ordinary(planned: PlannedKeys, key: IntArray, at_us: IntArray) -> bool:
    """Whether nearly every note lies in place, everywhere in the take."""
    hit = planned.hit(key, at_us).astype(float)
    if hit.mean() < _ORDINARY:
        return False
    if hit.size < _BLOCK:
        return True
    return bool((np.convolve(hit, np.ones(_BLOCK) / _BLOCK, "valid") >= _WEAK).all())


def _transposition(planned: PlannedKeys, notes: Notes) -> int:
    """Semitones by which the take is higher than the plan: those at which one place holds the most of its notes."""
    best, most = 0, 0.0
    for semitones in sorted(range(-24, 25), key=abs):
        _, count = differences(planned, notes.pitch - semitones, notes.onset_us)
        top = float(count.max(initial=0.0)) * (1.0 if semitones == 0 else 0.8 if semitones % 12 == 0 else 0.7)
        if top > most:
            best, most = semitones, top
    return best


def _tempo_ratio(planned: PlannedKeys, key: IntArray, at_us: IntArray) -> float:
    """The tempo of the take over that of the plan; refined from its opening to the whole."""
    first_us = int(at_us[0])
    some = slice(0, _OPENING)
    tops = [
        float(
            differences(planned, key[some], np.rint((at_us[some] - first_us) * ratio).astype(np.int64))[1].max(
                initial=0
            )
        )
        for ratio in _RATIOS
    ]
    ratio = float(_RATIOS[int(np.argmax(tops))])
    size, whole = _OPENING, 0
    while True:
        part = slice(0, size)
        moved = np.rint((at_us[part] - first_us) * ratio).astype(np.int64)
        places, count = differences(planned, key[part], moved)
        at = moved - int(places[int(np.argmax(count))])
        far = planned.far_us(key[part], at)
        hit = np.abs(far - np.median(far)) < (0.5 if whole > 1 else 1.5) * NEAR_US
        if hit.sum() >= _LEAST:
            slope = np.polyfit(moved[hit].astype(float), (at - far)[hit].astype(float), 1)[0]
            ratio *= float(np.clip(slope, 0.97, 1.03))
        if whole == _WHOLE_ROUNDS:
            return ratio
        whole, size = whole + (size >= at_us.size), min(2 * size, at_us.size)


def _way(plan: Plan, key: IntArray, at_us: IntArray) -> Place:
    """The best way through the take from place to place."""
    planned = PlannedKeys.of(plan)
    shifts = _shifts(planned, key, at_us)
    hit = np.stack([planned.hit(key, at_us - shift) for shift in shifts.tolist()], axis=1)
    state = _best_states(hit, np.abs(shifts) > _OWN_US, np.diff(at_us) / 1e6)
    runs = _runs(plan, planned, shifts, state, key, at_us)
    found = sum(int(hit[run.first : run.last + 1].any(axis=1).sum()) for run in runs)
    chance = planned.chance(key)
    few = len(runs) <= max(_FEW_RUNS, key.size / _LONG_RUN)
    enough = few and found >= max(
        _LEAST, _FOUND * key.size, _OVER_CHANCE * chance if chance < 0.3 * key.size else 0.6 * key.size
    )
    rest = {run.shift_us - _whole_us(plan, run.beats) for run in runs}
    recording = int(np.median(list(rest))) if runs and min(abs(one) for one in rest) > _RECORDING_US else 0
    covered = found / max(1, _planned_in(plan, runs))
    return Place(0, 1.0, tuple(runs), recording, found, int(key.size), round(chance), covered, enough)


def _planned_in(plan: Plan, runs: Sequence[Run]) -> int:
    """How many notes are planned in the stretches that the runs hold."""
    return sum(int(((plan.at_tick >= run.first_tick) & (plan.at_tick <= run.last_tick)).sum()) for run in runs)


def _shifts(planned: PlannedKeys, key: IntArray, at_us: IntArray) -> IntArray:
    """The places worth trying, the plan's own first."""
    places, count = differences(planned, key, at_us)
    found = [0]
    count = count.copy()
    for _ in range(_PLACES):
        top = int(np.argmax(count))
        if count[top] < _FEWEST:
            break
        at = int(places[top])
        far = planned.far_us(key, at_us - at)
        near = np.abs(far) <= NEAR_US
        found.append(at + (int(np.median(far[near])) if near.any() else 0))
        count[max(0, top - 4) : top + 5] = 0.0
    return np.array(found, dtype=np.int64)


def _best_states(hit: BoolArray, elsewhere: BoolArray, gap_s: FloatArray) -> IntArray:
    """The place of each note, -1 for none: fewest notes that their place does not have, and fewest changes of place.

    Where a change could as well come a little earlier or later, it comes in the longer rest, else later.
    """
    cost = np.concatenate([1.0 - hit, np.full((hit.shape[0], 1), _NOWHERE)], axis=1)
    price = _MOVE - _REST * np.minimum(gap_s, 1.0) - 1e-9
    total = cost[0] + np.append(_BEGIN * elsewhere, 0.0)
    came = np.empty(cost.shape, np.int64)
    stay = np.arange(cost.shape[1])
    for row in range(1, cost.shape[0]):
        best = int(np.argmin(total))
        moved = total[best] + price[row - 1]
        came[row] = np.where(total <= moved, stay, best)
        total = np.minimum(total, moved) + cost[row]
    state = np.empty(cost.shape[0], np.int64)
    state[-1] = int(np.argmin(total))
    for row in range(cost.shape[0] - 1, 0, -1):
        state[row - 1] = came[row, state[row]]
    return np.where(state == hit.shape[1], -1, state)


def _runs(
    plan: Plan, planned: PlannedKeys, shifts: IntArray, state: IntArray, key: IntArray, at_us: IntArray
) -> list[Run]:
    """The stretches of one place, each with the bars of the plan that it holds."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(state)) + 1, [state.size]])
    found = []
    for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if state[first] < 0 or end - first < _FEWEST:
            continue
        run = _run(plan, planned, int(shifts[state[first]]), slice(first, end), key, at_us)
        if run is not None:
            found.append(run)
    return _merged(found)


def _merged(runs: list[Run]) -> list[Run]:
    """Runs that follow each other at one place are one."""
    found: list[Run] = []
    for run in runs:
        last = found[-1] if found else None
        if last is not None and last.beats == run.beats and abs(last.shift_us - run.shift_us) <= _OWN_US:
            found[-1] = replace(
                last, last=run.last, last_bar=run.last_bar, last_tick=max(last.last_tick, run.last_tick)
            )
        else:
            found.append(run)
    return found


def _run(plan: Plan, planned: PlannedKeys, shift: int, some: slice, key: IntArray, at_us: IntArray) -> Run | None:
    """A stretch of notes at one place; None where too few of them are there."""
    far = planned.far_us(key[some], at_us[some] - shift)
    near = np.abs(far) <= NEAR_US
    if near.sum() < _FEWEST:
        return None
    planned_us = (at_us[some] - shift - far)[near]
    own = shift + int(np.median(far[near]))
    tick = plan.at_tick[np.clip(np.searchsorted(plan.at_us, [planned_us.min(), planned_us.max()]), 0, len(plan) - 1)]
    bar = plan.metre.bar_beat(tick / TICKS_PER_QUARTER)[0]
    return Run(some.start, some.stop - 1, own, _beats(plan, own), int(bar[0]), int(bar[1]), int(tick[0]), int(tick[1]))


def _beats(plan: Plan, shift_us: int) -> float:
    """The whole beats in a shift; 0 where it is no whole number of them."""
    beats = round(shift_us / beat_us(plan))
    return float(beats) if abs(shift_us - beats * beat_us(plan)) <= _OWN_US else 0.0


def beat_us(plan: Plan) -> float:
    """Length of the metre's beat at the opening tempo, microseconds.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    float
    """
    return float(plan.tempo.us_per_quarter[0]) * float(plan.metre.metres[0].beat_quarters)


def _whole_us(plan: Plan, beats: float) -> int:
    return round(beats * beat_us(plan))
