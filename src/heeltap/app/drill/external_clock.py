"""A drill to the clock of another device: where it stands now, and where its beats were when the take is over.

While you play, the clock (`heeltap.gear.clock_follower`) turns every moment into a position, and the plan turns the
position into its own time, so the session works as it does with our own click. heeltap keeps the take differently: the
plan gets the tempo of the recorded clock, and each note keeps its distance to it.

Inside: `Conductor`, `on_the_clock`, `clock_of`, `HeardClock`, `last_position_us`.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import msgspec
import numpy as np

from heeltap.engine.records import CONTROL, DIED, GAP, NOTE_OFF, NOTE_ON, TICK, Record
from heeltap.engine.stamping import Assembler, restamp
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.journal import Journal
from heeltap.files.takes.metadata import Context, LeftOut, plan_out
from heeltap.gear.clock_follower import CLOCKS_PER_QUARTER, Follow, Standing, clock_lost, follow, smooth_clock
from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan
from heeltap.model.timeline import TempoMap
from heeltap.session.session import Event, Pause, Resume, Say, Stop
from heeltap.units import TICKS_PER_QUARTER

__all__ = [
    "LOST",
    "NO_CLOCK",
    "STOPPED",
    "WAITING",
    "Conductor",
    "HeardClock",
    "clock_of",
    "last_position_us",
    "on_the_clock",
]

WAITING = "waiting for the other device to start"
STOPPED = "the other device has stopped; the take goes on when it does"
LOST = "the clock is lost; the take goes on where the music is when it comes back"

NO_CLOCK = "no clock"
"""Why a stretch is left out in which the other device's clock did not come."""

_PLAYED = (NOTE_ON, NOTE_OFF, CONTROL)

_STEP = CLOCKS_PER_QUARTER // 4
"""The tempo of a take is written down at every sixteenth ..."""

_STRAIGHT_US = 100.0
"""... where it bends by more than this within a quarter."""

_JUMP = 4 * CLOCKS_PER_QUARTER
"""A song position further ahead than a bar, or back, is another place in the song: the take ends there."""


class Conductor:
    """Turns the moments of a run into times of its plan."""

    def __init__(self, plan: Plan, count_in_bars: int, *, played: int = 1) -> None:
        """The other device's start is the beginning of the count-in.

        Parameters
        ----------
        plan : Plan
        count_in_bars : int
        played : int
            Number of inputs that are played on; notes of one beyond them are the other device's own.
        """
        self._played = played
        self._plan = plan
        self._count_in = plan.metre.count_in_quarters(count_in_bars)
        self._state = Follow()
        self.message = WAITING
        """What keeps the take waiting; empty while it runs."""

    @property
    def state(self) -> Follow:
        """What is known of the clock."""
        return self._state

    def us_at(self, at_us: int) -> int:
        """When the plan has what is at this moment, microseconds from bar 1, beat 1 at the plan's own tempo."""
        quarter = self._state.quarter_at(at_us) - self._count_in
        return round(float(self._plan.tempo.us_at_quarter(quarter)))

    def place(self, record: Record) -> Record | None:
        """The record with its moments as times of the plan; None for one of the clock, or of the device that gives
        it."""
        if record.kind == TICK or (record.kind in _PLAYED and record.which >= self._played):
            return None
        if record.kind == DIED:
            return record
        other = self.us_at(record.other_us) if record.kind == GAP else record.other_us
        return record._replace(at_us=self.us_at(record.at_us), other_us=other)

    def hear(self, record: Record) -> list[Event]:
        """Take in a message of the clock; what it means to the session. Other records mean nothing."""
        if record.kind != TICK:
            return []
        status, at_us = record.value, record.at_us
        if status == 0xFA and self._state.position >= 0:
            return [Stop(self.us_at(at_us), "the other device started again")]
        self._state = follow(self._state, status, at_us, sixteenths=record.other_us)
        return self._tell(at_us)

    def pass_time(self, now_us: int) -> list[Event]:
        """Notice that the clock has gone."""
        return self._tell(now_us)

    def _tell(self, at_us: int) -> list[Event]:
        """Pause the take where the clock stands, and resume it where the clock runs."""
        state, before = self._state, self.message
        self.message = ""
        if state.standing is Standing.WAITING:
            self.message = WAITING
        elif state.standing is Standing.STOPPED:
            self.message = STOPPED
        elif clock_lost(state, at_us):
            self.message = LOST
        if self.message == before:
            return []
        paused, was_paused = (text in (STOPPED, LOST) for text in (self.message, before))
        told: list[Event] = [Say(self.message)]
        if paused and not was_paused:
            told.append(Pause(self.us_at(state.heard_us)))
        elif was_paused and not paused:
            told.append(Resume(self.us_at(at_us)))
        return told


@dataclass(frozen=True, slots=True, eq=False)
class HeardClock:
    """The clock of a take, freed of its jitter and of the times when it stood still."""

    position: IntArray
    """Clocks since the start, increasing."""
    at_us: FloatArray
    """When each was, on an axis on which the gaps between stretches are cut out."""
    first_us: FloatArray
    """When each stretch began and ..."""
    last_us: FloatArray
    """... ended, on the journal's axis."""
    cut_us: FloatArray
    """What is taken from the journal's times in each stretch; nothing more than before where the device played on."""

    def moved(self, us: IntArray) -> IntArray:
        """Times of the journal on the axis without gaps; a moment in a gap becomes its end."""
        row = np.maximum(np.searchsorted(self.first_us, us, side="right") - 1, 0)
        shown = np.where(row + 1 < self.last_us.size, np.minimum(us, self._reach(row)), us)
        return as_ints(np.rint(shown - self.cut_us[row]).astype(np.int64))

    def covers(self, us: IntArray) -> BoolArray:
        """Whether the clock ran at these times of the journal."""
        row = np.maximum(np.searchsorted(self.first_us, us, side="right") - 1, 0)
        return np.asarray((row + 1 >= self.last_us.size) | (us <= self._reach(row)))

    def _reach(self, row: IntArray) -> FloatArray:
        """The end of a stretch, to the clock that did not come."""
        following = np.minimum(row + 1, self.first_us.size - 1)
        return np.asarray(self.first_us[following] - self.cut_us[following] + self.cut_us[row])


def clock_of(journal: Journal, port: int) -> HeardClock | None:
    """The clock in a journal; None where it never started.

    Parameters
    ----------
    journal : Journal
    port : int
        Index of its port in the journal's header.
    """
    stretches = [stretch for stretch in _stretches(journal, port) if any(p >= 0 for p, _ in stretch.clocks)]
    position: list[int] = []
    at_us: list[float] = []
    edges: list[tuple[float, float, float]] = []
    for stretch in stretches:
        clocks = stretch.clocks
        smooth = smooth_clock(as_ints(at for _, at in clocks))
        rows = [i for i, (place, _) in enumerate(clocks) if place >= 0]
        first = clocks[rows[0]][0]
        cut = 0.0
        if position and stretch.bridged:
            cut = edges[-1][2]
        elif position:
            ahead = first - position[-1]
            if not 0 < ahead <= _JUMP:
                break
            period = (at_us[-1] - at_us[0]) / max(position[-1] - position[0], 1)
            cut = float(smooth[rows[0]]) - (at_us[-1] + ahead * period)
        edges.append((float(smooth[rows[0]]), float(smooth[-1]), cut))
        position += [clocks[i][0] for i in rows]
        at_us += [float(smooth[i]) - cut for i in rows]
    if len(position) < 2:
        return None
    begin, end, cuts = (np.array([edge[k] for edge in edges]) for k in range(3))
    return HeardClock(as_ints(position), np.array(at_us), begin, end, cuts)


class _Stretch(NamedTuple):
    """Clocks without a stop or a gap between them."""

    clocks: list[tuple[int, int]]
    """Position and stamp of each; -1 before the start."""
    bridged: bool = False
    """Whether the device played on in the gap before it."""


def _stretches(journal: Journal, port: int) -> list[_Stretch]:
    """The clocks in a journal."""
    names = journal.header.get("ports") or [""]
    name = names[port] if isinstance(names, list) and port < len(names) else ""
    rows = np.flatnonzero(np.array([one == name for one in journal.port], dtype=np.bool_))
    stamp_ns = restamp(journal.arrival_ns[rows], journal.delta_s[rows])
    at_us = (stamp_ns - journal.zero_ns + 500) // 1000
    assembler, state = Assembler(), Follow()
    found = [_Stretch([])]
    for at, row in zip(at_us.tolist(), rows.tolist(), strict=True):
        for message in assembler.feed(journal.data[row]):
            status = message[0]
            if status == 0xFA and state.position >= 0:
                return found  # started again: the take ended there
            lost = status == 0xF8 and clock_lost(state, at)
            if status == 0xFB or lost:
                found.append(_Stretch([], bridged=lost and state.position >= 0))
            place = message[1] | message[2] << 7 if status == 0xF2 else 0
            state = follow(state, status, at, sixteenths=place)
            if status == 0xF8 and state.standing is not Standing.STOPPED:
                found[-1].clocks.append((state.position if state.standing is Standing.RUNNING else -1, at))
    return found


def last_position_us(journal: Journal, context: Context, plan: Plan) -> int:
    """Where the clock of a take that was left behind ended, at the plan's own tempo; -1 where it never started."""
    heard = clock_of(journal, context.clock_input)
    if heard is None:
        return -1
    quarter = (int(heard.position[-1]) - _count_in(context, plan)) / CLOCKS_PER_QUARTER
    return round(float(plan.tempo.us_at_quarter(quarter)))


def _count_in(context: Context, plan: Plan) -> int:
    """Clocks of the count-in."""
    return round(context.count_in_us / int(plan.tempo.us_per_quarter[0]) * CLOCKS_PER_QUARTER)


def on_the_clock(
    journal: Journal,
    context: Context,
    plan: Plan,
    played: tuple[Notes, Pedal],
    spans: list[LeftOut],
    judged_to_us: int | None,
) -> tuple[Context, Plan, tuple[Notes, Pedal]]:
    """A take as its clock had it: context, plan and playing on the clock's own axis, 0 at bar 1, beat 1.

    Parameters
    ----------
    journal : Journal
    context : Context
        ``clock_input`` says which port the clock came from; ``left_out`` counts at the plan's own tempo,
        ``dropped_cycles_us`` on the journal's axis.
    plan : Plan
        At its own tempo.
    played : Notes and Pedal
        On the journal's axis; those of an input that gave the clock only are left out.
    spans : list of LeftOut
        Stretches without input, on the journal's axis.
    judged_to_us : int, optional
        Where an unfinished take ends, at the plan's own tempo.
    """
    heard = clock_of(journal, context.clock_input)
    first = _count_in(context, plan)
    notes, pedal = played
    if context.clock_input > len(context.more_in_ports):
        notes = notes.pick(notes.track != context.clock_input)
        pedal = _pick(pedal, pedal.track != context.clock_input)
    if heard is None or heard.position[-1] <= first:
        nothing = msgspec.structs.replace(context, left_out=spans, judged_to_us=-1)
        return nothing, plan, (notes, pedal)
    zero_us = float(np.interp(first, heard.position, heard.at_us))
    zero = round(zero_us)
    timed = _retimed(plan, heard, first, zero_us)

    def on_clock(us: int) -> int:
        """A time at the plan's own tempo."""
        return round(float(timed.tempo.us_at_quarter(plan.tempo.quarter_at(us))))

    left_out = [LeftOut(on_clock(one.from_us), on_clock(one.to_us), one.why) for one in context.left_out]
    for one in spans:
        from_us, to_us = (heard.moved(as_ints([us]))[0] - zero for us in (one.from_us, one.to_us))
        left_out.append(LeftOut(int(from_us), int(max(from_us, to_us)), one.why))
    left_out += _around_gaps(heard, zero)
    done = msgspec.structs.replace(
        context,
        plan=plan_out(timed),
        count_in_us=max(0, zero - round(float(heard.at_us[0]))),
        left_out=left_out,
        dropped_cycles_us=(heard.moved(as_ints(context.dropped_cycles_us)) - zero).tolist(),
        judged_to_us=None if judged_to_us is None else on_clock(judged_to_us),
    )
    kept, down = notes.pick(heard.covers(notes.onset_us)), _pick(pedal, heard.covers(pedal.at_us))
    moved = replace(kept, onset_us=heard.moved(kept.onset_us) - zero)
    return done, timed, (moved, replace(down, at_us=heard.moved(down.at_us) - zero))


def _pick(pedal: Pedal, rows: BoolArray) -> Pedal:
    """Some rows of a pedal."""
    return Pedal(pedal.at_us[rows], pedal.channel[rows], pedal.value[rows], pedal.track[rows])


def _around_gaps(heard: HeardClock, zero_us: int) -> list[LeftOut]:
    """The places where the clock stood still or did not come, to a beat after it went on."""
    found = []
    rows = zip(heard.first_us[1:].tolist(), heard.cut_us[1:].tolist(), heard.cut_us[:-1].tolist(), strict=True)
    for start, cut, cut_before in rows:
        at = round(start - cut) - zero_us
        row = int(np.searchsorted(heard.at_us, start - cut - 1.0))
        until = heard.at_us[min(row + CLOCKS_PER_QUARTER, heard.at_us.size - 1)]
        before = heard.at_us[max(row - 2, 0)]
        why = NO_CLOCK if cut == cut_before else "held"
        found.append(LeftOut(round(before) - zero_us, max(at, round(until) - zero_us), why))
    return found


def _retimed(plan: Plan, heard: HeardClock, first: int, zero_us: float) -> Plan:
    """The plan at the tempo of the clock; where the clock has ended, its last tempo goes on."""
    places = np.arange(first, int(heard.position[-1]) + 1, _STEP)
    at_us = np.rint(np.interp(places, heard.position, heard.at_us) - zero_us).astype(np.int64)
    at_us[0] = 0
    keep = [0]
    for left, right in pairwise([*range(0, places.size, 4), places.size - 1]):
        if right > left:
            straight = np.interp(np.arange(left, right), [left, right], at_us[[left, right]])
            bent = np.max(np.abs(at_us[left:right] - straight)) > _STRAIGHT_US
            keep += list(range(left + 1, right + 1)) if bent else [right]
    if len(keep) < 2:
        return plan
    steps, rows = np.diff(at_us[keep]), np.array(keep)
    ticks = rows[:-1] * (TICKS_PER_QUARTER // 4)
    per_quarter = np.clip(np.rint(4 * steps / np.diff(rows)), 1, 2**24 - 1).astype(np.int64)
    tempo = TempoMap(TICKS_PER_QUARTER, as_ints(ticks), per_quarter)
    return replace(plan, tempo=tempo, at_us=tempo.us_at(plan.at_tick))
