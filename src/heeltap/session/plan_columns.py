"""The columns of a plan: what a face draws and the session judges while you play, made once from a plan.

Plain Python numbers throughout, because the session looks at one stroke at a time. Conventions as in
`heeltap.model.plan`: times are microseconds from bar 1, beat 1; bars and beats count from 1.

Inside: `PlanColumns`, `BarColumns`, `Slot`, `Target`, `columns_of`, `count_in_us`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from heeltap.analysis.note_rows import planned_division
from heeltap.analysis.pocket import half_width_ms
from heeltap.analysis.strokes import RETRIGGER_US
from heeltap.analysis.voicing import is_chord
from heeltap.model.arrays import IntArray
from heeltap.model.counting import Syllable
from heeltap.model.hands import hand_lines, side_key
from heeltap.model.pitch import LEFT, RIGHT
from heeltap.model.plan import ANY_PITCH, Plan
from heeltap.model.plan_from import counting_of
from heeltap.model.timeline import Metre
from heeltap.units import TICKS_PER_QUARTER

__all__ = ["BarColumns", "PlanColumns", "Slot", "Target", "columns_of", "count_in_us"]

REACH_US = 250_000
"""A note further than this from a stroke is not that stroke, however empty the bar. Ours."""

REACH_SHARE = 0.7
"""Share of the way to the neighbouring stroke: past half-way, because a player who rushes a run is followed. Ours."""

_SNAP_QUARTERS = 0.08
"""A stroke so close to a syllable stands under it, a third of a sixteenth: a recorded part is not exact."""


@dataclass(frozen=True, slots=True)
class Target:
    """One planned stroke."""

    at_us: int
    early_us: int
    """A note may be this stroke from here ..."""
    late_us: int
    """... to here; after that it is missed."""
    pocket_us: int
    """Half-width of the pocket around the lean."""
    bar: int
    beat: float
    pitches: tuple[int, ...]
    """The keys of the stroke; empty accepts any."""
    accent: bool
    """Meant louder than its neighbours."""
    lowest: int = 0
    highest: int = 127
    """Where any key is accepted, it lies between these: one hand's side of the split, or the whole keyboard."""

    def fits(self, pitch: int) -> bool:
        """Whether a key is one of the stroke's own; a chord's notes may lie in any octave."""
        if not self.pitches:
            return self.lowest <= pitch <= self.highest
        return pitch in self.pitches or (is_chord(self.pitches) and pitch % 12 in {own % 12 for own in self.pitches})


@dataclass(frozen=True, slots=True)
class Slot:
    """One column of a bar: a counting syllable, or a stroke between the syllables."""

    text: str
    """What is counted; empty between the syllables."""
    quarter: float
    """From the bar line, quarter notes."""
    target: int
    """Index into ``PlanColumns.targets``; -1 where nothing is played."""


@dataclass(frozen=True, slots=True)
class BarColumns:
    """One bar."""

    number: int
    """From 1."""
    name: str
    """What it is called: its number, or the number that it has in the whole of which these bars are a part."""
    section: str
    """Name of the section that it belongs to; empty outside all."""
    starts_section: bool
    start_us: int
    end_us: int
    beat_us: tuple[int, ...]
    """Start of each of the metre's own beats."""
    slots: tuple[Slot, ...]
    targets: range
    """Indices of its strokes."""


@dataclass(frozen=True, slots=True)
class PlanColumns:
    """A whole plan as bars of columns."""

    title: str
    bars: tuple[BarColumns, ...]
    targets: tuple[Target, ...]
    """In time order."""
    lean_us: int
    """The offset aimed at."""
    delay_us: int
    """Known delay of the route, taken away from every note."""
    count_in_us: int
    """Length of the count-in before bar 1."""
    end_us: int
    """When the last stroke can no longer be played: the drill is over."""
    row_us: tuple[int, ...] = ()
    """Planned time of every single note, in order; for the aligner."""
    row_pitch: tuple[int, ...] = ()
    """Its key, or what stands for its hand."""
    row_stroke: tuple[int, ...] = ()
    """Index of its stroke in ``targets``."""
    split_key: int | None = None
    """Where ``row_pitch`` stands for hands: the lowest key of the right hand."""
    delay_known: bool = True
    """Whether ``delay_us`` is what the route is known to have; else it is 0 for want of better."""
    retrigger_us: int = RETRIGGER_US
    """Window of double triggers."""
    retrigger_of: Mapping[int, int] = field(default_factory=dict)
    """The same for single keys, microseconds."""

    def hand_key(self, pitch: int) -> int:
        """A played key as ``row_pitch`` has it."""
        return pitch if self.split_key is None else side_key(pitch, self.split_key)

    def cut_us(self, from_us: int) -> int:
        """Where the strokes of a bar line begin that may be early: half-way from the stroke before, half a beat at most;
        everything before bar 1 belongs to the count."""
        before = max((target.at_us for target in self.targets if target.at_us < from_us), default=None)
        beats = self.bar_at(from_us).beat_us
        half = (beats[1] - beats[0]) // 2 if len(beats) > 1 else REACH_US
        if before is None:
            return -(2**61) if from_us <= 0 else from_us - half
        return from_us - min((from_us - before) // 2, half)

    def bar_at(self, at_us: int) -> BarColumns:
        """The bar that a time falls in; the first before it starts, the last after its end."""
        low, high = 0, len(self.bars) - 1
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.bars[middle].start_us <= at_us else (low, middle - 1)
        return self.bars[low]


def columns_of(
    plan: Plan,
    *,
    title: str = "",
    lean_ms: float = 0.0,
    pocket_ms: float | None = None,
    delay_ms: float | None = 0.0,
    count_in_bars: int = 1,
    run_in_us: int = 0,
    bar_numbers: Sequence[int] = (),
    split_key: int | None = None,
    retrigger_ms: float | None = None,
    retrigger_of: Mapping[int, float] | None = None,
    shift_us: IntArray | None = None,
) -> PlanColumns:
    """The sheet of a plan.

    Parameters
    ----------
    plan : Plan
    title : str
        Shown above the bars; the plan's name where empty.
    lean_ms, pocket_ms : float
        Offset aimed at; half-width of the pocket, None is 4 % of the beat, 12 to 25 ms.
    delay_ms : float
        Known delay of the route; None where it is not known.
    count_in_bars : int
        Bars of click before bar 1, at its tempo.
    run_in_us : int
        A bar that sounds between them and bar 1, not judged.
    bar_numbers : sequence of int
        What each bar is called; empty is 1, 2, 3, ...
    split_key : int, optional
        Lowest key of the right hand: strokes of one hand on any key then want that hand's side.
    retrigger_ms, retrigger_of
        Window of double triggers (None: 30), and that of single keys.
    shift_us : int64, shape (notes of the plan,), optional
        How far behind the click the drums lie that each note is judged against; None judges against the click.
    """
    lean_us = round(lean_ms * 1000)
    at_us = plan.at_us if shift_us is None else plan.at_us + shift_us
    targets = _targets(plan, at_us, lean_us, pocket_ms, split_key)
    row_pitch, _ = hand_lines(plan, plan.pitch, split_key)
    bars = _bars(plan, targets, bar_numbers)
    last = bars[-1]
    tail_us = max([last.end_us, *(target.late_us for target in targets[-1:])])
    return PlanColumns(
        title or plan.name,
        bars,
        targets,
        lean_us,
        round((delay_ms or 0.0) * 1000),
        count_in_us(plan, count_in_bars) + run_in_us,
        tail_us,
        tuple(at_us.tolist()),
        tuple(row_pitch.tolist()),
        tuple(np.unique(plan.stroke, return_inverse=True)[1].tolist()),
        split_key if row_pitch is not plan.pitch else None,
        delay_ms is not None,
        RETRIGGER_US if retrigger_ms is None else round(retrigger_ms * 1000),
        {key: round(ms * 1000) for key, ms in (retrigger_of or {}).items()},
    )


def count_in_us(plan: Plan, bars: int) -> int:
    """Length of a count-in of so many bars before bar 1 of a plan, microseconds at its first tempo."""
    return round(plan.metre.count_in_quarters(bars) * int(plan.tempo.us_per_quarter[0]))


def _targets(
    plan: Plan, row_us: IntArray, lean_us: int, pocket_ms: float | None, split_key: int | None
) -> tuple[Target, ...]:
    """Each stroke with its reach and its pocket; ``row_us`` says where each note of the plan belongs."""
    rows: dict[int, list[int]] = {}
    for row, stroke in enumerate(plan.stroke.tolist()):
        rows.setdefault(stroke, []).append(row)
    at_us = [int(row_us[group[0]]) for group in rows.values()]
    bar, beat = plan.metre.bar_beat(plan.at_tick / TICKS_PER_QUARTER)
    loudest = max(plan.velocity.tolist(), default=0)
    accents = loudest > min(plan.velocity.tolist(), default=0)
    pocket_us = _pockets_us(plan, [group[0] for group in rows.values()], pocket_ms)
    found = []
    for index, group in enumerate(rows.values()):
        here = at_us[index]
        before = here - at_us[index - 1] if index else 2 * REACH_US
        after = at_us[index + 1] - here if index + 1 < len(at_us) else 2 * REACH_US
        keys = {int(plan.pitch[row]) for row in group}
        found.append(
            Target(
                here,
                here + lean_us - min(REACH_US, round(REACH_SHARE * before)),
                here + lean_us + min(REACH_US, round(REACH_SHARE * after)),
                pocket_us[index],
                int(bar[group[0]]),
                float(beat[group[0]]),
                () if ANY_PITCH in keys else tuple(sorted(keys)),
                accents and max(int(plan.velocity[row]) for row in group) == loudest,
                *_side({int(plan.hand[row]) for row in group}, split_key),
            )
        )
    return tuple(found)


def _pockets_us(plan: Plan, first: list[int], pocket_ms: float | None) -> list[int]:
    """Half-width of each stroke's pocket, as the report has it; ``first``: the first row of each stroke."""
    quarter = plan.at_tick[first] / TICKS_PER_QUARTER
    unit = np.array([one.beat_quarters for one in plan.metre.metres])[plan.metre.row_at(quarter)]
    at_us = plan.at_us[first].astype(np.float64)
    beat_ms = plan.tempo.us_per_quarter_at(at_us) * unit / 1000.0
    gap_ms = np.diff(at_us, prepend=-np.inf, append=np.inf) / 1000.0
    interval_ms = np.minimum(gap_ms[:-1], gap_ms[1:])
    half = half_width_ms(beat_ms, planned_division(plan, quarter), interval_ms, pocket_ms or None)
    return [int(us) for us in np.rint(1000.0 * half)]


def _side(hands: set[int], split_key: int | None) -> tuple[int, int]:
    """Lowest and highest key of a stroke of one hand; the whole keyboard for both hands, or without a split."""
    if split_key is None or hands not in ({LEFT}, {RIGHT}):
        return 0, 127
    return (0, split_key - 1) if hands == {LEFT} else (split_key, 127)


def _bars(plan: Plan, targets: tuple[Target, ...], numbers: Sequence[int]) -> tuple[BarColumns, ...]:
    """Every bar of the plan, rests included."""
    by_bar: dict[int, list[int]] = {}
    for index, target in enumerate(targets):
        by_bar.setdefault(target.bar, []).append(index)
    names = {bar: section.name for section in plan.sections for bar in range(section.first_bar, section.last_bar + 1)}
    starts = {section.first_bar for section in plan.sections}
    found, seen = [], 0
    for number in range(1, max([plan.bars, *by_bar]) + 1):
        mine = by_bar.get(number, [])
        metre = plan.metre.metre_of_bar(number)
        quarter = float(plan.metre.quarter_of_bar(number))
        end = float(plan.metre.quarter_of_bar(number + 1))  # a change of metre may cut a bar short
        edges = [at for at in (quarter + beat * metre.beat_quarters for beat in range(metre.beats)) if at < end - 1e-9]
        times = plan.tempo.us_at_position([round(at * TICKS_PER_QUARTER) for at in [*edges, end]])
        found.append(
            BarColumns(
                number,
                str(numbers[number - 1] if number <= len(numbers) else number),
                names.get(number, ""),
                number in starts,
                int(times[0]),
                int(times[-1]),
                tuple(int(us) for us in times[:-1]),
                _slots(plan, number, metre, [(index, _quarter_of(targets[index], metre)) for index in mine]),
                range(seen, seen + len(mine)),
            )
        )
        seen += len(mine)
    return tuple(found)


def _quarter_of(target: Target, metre: Metre) -> float:
    """Place of a stroke in its bar, quarter notes."""
    return (target.beat - 1) * metre.beat_quarters


def _slots(plan: Plan, number: int, metre: Metre, placed: list[tuple[int, float]]) -> tuple[Slot, ...]:
    """The columns of one bar: every syllable, and the strokes that have none, in order."""
    counted = counting_of(plan, number, least=_least(plan, metre))
    free = dict(placed)
    slots = [Slot(syllable.text, syllable.at_quarter, _take(free, syllable)) for syllable in counted]
    slots += [Slot("", quarter, index) for index, quarter in free.items()]
    return tuple(sorted(slots, key=lambda slot: slot.quarter))


def _take(free: dict[int, float], syllable: Syllable) -> int:
    """The stroke that stands under a syllable, taken out of ``free``; -1 where there is none."""
    near = [(abs(quarter - syllable.at_quarter), index) for index, quarter in free.items()]
    distance, index = min(near, default=(1.0, -1))
    if distance > _SNAP_QUARTERS:
        return -1
    del free[index]
    return index


def _least(plan: Plan, metre: Metre) -> int:
    """The coarsest cut of every unit: 2 where the plan has eighths and no thirds, so that its bars look alike."""
    if metre.unit > 4:
        return 1
    twelfths = set(((plan.at_tick * metre.unit * 12) // (4 * TICKS_PER_QUARTER) % 12).tolist())
    return 2 if twelfths - {0} and not twelfths & {4, 8} else 1
