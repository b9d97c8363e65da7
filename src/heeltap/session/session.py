"""A drill as a pure step: events in, a new state and effects out. No clock, no thread, no device.

Whoever runs it feeds what the engine reports (`Note`, `Elapsed`, `Click`, `Lost`, `Back`, `Dropped`) and what the player asks
(`Begin`, `Pause`, `Resume`, `Stop`, `Press`, `Show`), carries out the effects, and draws the state whenever it likes. Times are
microseconds from bar 1, beat 1; the count-in lies before 0.

The phases::

    ready --Begin--> count-in --time--> playing --time or Stop--> done
                          |  ^             |  ^
                        Pause Resume       Pause Resume
                          v  |             v  |
                          paused           paused

Inside: the events, `BarDone`, `Finished` and `Again` (the effects), `State`, `Phase`, `Feedback`, `begin`, `step`, `bar_result`,
`NO_INPUT`.
"""

from dataclasses import dataclass, field, replace
from enum import StrEnum

from heeltap.analysis.lost_notes import DROP_REACH_US
from heeltap.engine.deadlines import LATE_US
from heeltap.session.events import (
    Again,
    Back,
    BarDone,
    BarResult,
    Begin,
    Click,
    Dropped,
    Effect,
    Elapsed,
    Event,
    Extra,
    Feedback,
    Finished,
    GoOn,
    Interruption,
    Lost,
    Note,
    Pause,
    Press,
    Resume,
    Say,
    Show,
    Stop,
    dropped_words,
)
from heeltap.session.matcher import RecentNotes, Status, Stroke, Struck, assign_note, settle
from heeltap.session.plan_columns import REACH_US, BarColumns, PlanColumns
from heeltap.session.rematch import REVIEW_BARS, review

__all__ = [
    "NO_INPUT",
    "Again",
    "Back",
    "BarDone",
    "BarResult",
    "Begin",
    "Click",
    "Dropped",
    "Effect",
    "Elapsed",
    "Event",
    "Extra",
    "Feedback",
    "Finished",
    "GoOn",
    "Interruption",
    "Lost",
    "Note",
    "Pause",
    "Phase",
    "Press",
    "Resume",
    "Say",
    "Show",
    "State",
    "Stop",
    "bar_result",
    "begin",
    "step",
]

_GRACE_US = 40_000
"""A bar is called finished so long after its end: notes need up to 10 ms through the pipe, a busy screen some more."""

_EDGE_US = 50_000
"""A stroke this close to the edge of a gap may have fallen into it."""

_READ_US = 6_000_000
"""How long what happened once is shown."""

NO_INPUT = "An input is gone: plug it in, the take goes on."
"""What the player is told while that lasts."""

_RECENT = 16
"""Strokes on the lean scale."""


class Phase(StrEnum):
    """Where a drill stands."""

    READY = "ready"
    COUNT_IN = "count-in"
    PLAYING = "playing"
    PAUSED = "paused"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class State:
    """Everything that a face draws."""

    columns: PlanColumns
    strokes: tuple[Stroke, ...]
    """One a target."""
    feedback: Feedback = Feedback.BAR
    phase: Phase = Phase.READY
    now_us: int = -(2**62)
    first_open: int = 0
    """No stroke before this one can still be played."""
    bars_done: int = 0
    extras: tuple[Extra, ...] = ()
    retriggers: int = 0
    """Double triggers that were folded."""
    recent: tuple[tuple[int, int], ...] = ()
    """(stroke, offset minus lean in microseconds) of the last strokes, newest last."""
    heard: RecentNotes = field(default_factory=RecentNotes)
    lately: tuple[Struck, ...] = ()
    """The notes of the last bars, retriggers left out: what the second look goes by."""
    gaps: tuple[Interruption, ...] = ()
    late_clicks: tuple[int, ...] = ()
    """When the clicks were due that left too late, microseconds."""
    begin_us: int = 0
    """Where playing begins: bar 1, or after a pause the bar line from which the take goes on."""
    stands: bool = False
    """Whether the take is paused and time stands still."""
    ending: str = ""
    """Why the take ended: ``played``, ``stopped``, or what the engine said."""
    said: tuple[Say, ...] = ()
    """What the player must know now, newest last."""

    @property
    def notice(self) -> str:
        """What the player must know now, in one text, the newest first; empty when there is nothing."""
        away = [] if self.connected or self.phase is Phase.DONE else [NO_INPUT]
        return " ".join([*away, *(one.text for one in reversed(self.said))])

    @property
    def connected(self) -> bool:
        """Whether every input is there."""
        return not any(gap.to_us is None and gap.why == "lost" for gap in self.gaps)

    def shows(self, bar: BarColumns) -> bool:
        """Whether the numbers of a bar are shown now."""
        if self.phase is Phase.DONE or self.feedback is Feedback.STROKE:
            return True
        return self.feedback is Feedback.BAR and bar.number <= self.bars_done


def begin(columns: PlanColumns, feedback: Feedback = Feedback.BAR) -> State:
    """The state before the first event."""
    return State(columns, (Stroke(),) * len(columns.targets), feedback)


def step(state: State, event: Event) -> tuple[State, tuple[Effect, ...]]:
    """The state after an event, and what is to be done about it. A finished drill changes only what it shows."""
    if isinstance(event, Show):
        return replace(state, feedback=event.feedback), ()
    if isinstance(event, Say):
        return _say(state, event), ()
    if isinstance(event, Press):
        return _press(state, event)
    if state.phase is Phase.DONE:
        return state, ()
    if isinstance(event, Dropped):
        return _dropped(state, event), ()
    if isinstance(event, Begin):
        return (replace(state, phase=Phase.COUNT_IN) if state.phase is Phase.READY else state), ()
    if isinstance(event, Click):
        late = event.sent_us - event.due_us > LATE_US
        return (replace(state, late_clicks=(*state.late_clicks, event.due_us)) if late else state), ()
    if isinstance(event, Note):
        return _advance(_note(state, event), event.at_us)
    if isinstance(event, Elapsed):
        return _advance(state, event.at_us)
    if isinstance(event, Resume) and event.from_us is not None:
        return (_again_from(state, event.from_us, event.at_us) if state.stands else state), ()
    if isinstance(event, Pause) and event.stands:
        return _stand(*_advance(state, event.at_us))
    if isinstance(event, Stop):
        moved, effects = _advance(state, event.at_us)
        return (moved, effects) if moved.phase is Phase.DONE else _finish(moved, effects, event.reason)
    return _advance(_gap(state, event), event.at_us)


def _say(state: State, event: Say) -> State:
    """Put what is said in the place of what was said of the same."""
    others = tuple(one for one in state.said if one.about != event.about)
    return replace(state, said=(*others, event) if event.text else others)


def _dropped(state: State, event: Dropped) -> State:
    """A stroke beside a dropped cycle that nothing came for may have been played."""
    if state.stands:
        return state
    reach = DROP_REACH_US - _EDGE_US
    hole = Interruption(event.at_us - reach, event.at_us + reach, "dropped")
    state = _say(state, Say(dropped_words(event.cycles), "cycles", event.at_us + _READ_US))
    return _unmissed(replace(state, gaps=(*state.gaps, hole)))


def _press(state: State, event: Press) -> tuple[State, tuple[Effect, ...]]:
    """What a control does: it starts where nothing runs, resumes a paused take, and ends one that runs."""
    if state.phase in (Phase.READY, Phase.DONE):
        return state, ((Again(),) if {"start", "repeat"} & set(event.actions) else ())
    if state.phase is Phase.PAUSED and "start" in event.actions:
        return (state, (GoOn(),)) if state.stands else step(state, Resume(event.at_us))
    for action in ("stop", "repeat"):
        if action in event.actions:
            moved, effects = step(state, Stop(event.at_us))
            return moved, ((*effects, Again()) if action == "repeat" else effects)
    return state, ()


def bar_result(state: State, bar: BarColumns) -> BarResult:
    """How one bar stands."""
    played = tuple(state.strokes[index] for index in bar.targets)
    return BarResult(bar, played, sum(extra.bar == bar.number for extra in state.extras))


def _note(state: State, event: Note) -> State:
    """Give a note to its stroke; in the count-in, players tap along and nothing is extra."""
    note = Struck(event.at_us - state.columns.delay_us, event.pitch, event.velocity, event.port)
    if state.phase not in (Phase.COUNT_IN, Phase.PLAYING) or note.at_us < state.columns.cut_us(state.begin_us):
        return state  # in a count, players tap along
    columns = state.columns
    if state.heard.is_retrigger(note, columns.retrigger_of.get(note.pitch, columns.retrigger_us)):
        return replace(state, retriggers=state.retriggers + 1)
    state = replace(state, heard=state.heard.add(note), lately=(*state.lately, note))
    place = assign_note(columns.targets, state.strokes, state.first_open, note, columns.lean_us)
    loose = (note,) if place.target < 0 else place.displaced
    extras = tuple(
        Extra(one.at_us, one.pitch, columns.bar_at(one.at_us).number) for one in loose if one.at_us >= state.begin_us
    )
    state = replace(state, extras=(*state.extras, *extras)) if extras else state
    if place.target < 0:
        return state
    strokes = (*state.strokes[: place.target], place.stroke, *state.strokes[place.target + 1 :])
    offset = (place.stroke.offset_us or 0) - columns.lean_us
    others = tuple(pair for pair in state.recent if pair[0] != place.target)
    return replace(state, strokes=strokes, recent=(*others, (place.target, offset))[-_RECENT:])


def _stand(state: State, effects: tuple[Effect, ...]) -> tuple[State, tuple[Effect, ...]]:
    """Time stands still."""
    if state.phase in (Phase.READY, Phase.DONE):
        return state, effects
    return replace(state, phase=Phase.PAUSED, stands=True), effects


def _again_from(state: State, from_us: int, now_us: int) -> State:
    """The state at the beginning of the count before a bar line: everything from there on is still to be played."""
    columns = state.columns
    done = columns.bar_at(from_us).number - 1
    first = columns.bars[done].targets.start
    last_us = columns.cut_us(from_us)
    waiting = (Stroke(),) * (len(columns.targets) - first)
    return replace(
        state,
        phase=Phase.COUNT_IN,
        stands=False,
        now_us=now_us,
        begin_us=from_us,
        strokes=(*state.strokes[:first], *waiting),
        first_open=first,
        bars_done=min(state.bars_done, done),
        extras=tuple(one for one in state.extras if one.at_us < last_us),
        recent=tuple(pair for pair in state.recent if pair[0] < first),
        heard=RecentNotes(),
        lately=tuple(note for note in state.lately if note.at_us < last_us),
        late_clicks=tuple(due for due in state.late_clicks if due < last_us),
    )


def _gap(state: State, event: Lost | Back | Pause | Resume) -> State:
    """Open or close a gap; opening an open one and closing a closed one change nothing."""
    why = "lost" if isinstance(event, Lost | Back) else "paused"
    port = event.port if isinstance(event, Lost | Back) else 0
    lasting = [gap for gap in state.gaps if gap.to_us is None and (gap.why, gap.port) == (why, port)]
    if isinstance(event, Lost | Pause):
        if lasting:
            return state
        phase = Phase.PAUSED if why == "paused" else state.phase
        state = replace(state, phase=phase, gaps=(*state.gaps, Interruption(event.at_us, None, why, port)))
        return _unmissed(state)
    gaps = tuple(gap._replace(to_us=max(gap.from_us, event.at_us)) if gap in lasting else gap for gap in state.gaps)
    phase = Phase.COUNT_IN if why == "paused" and state.phase is Phase.PAUSED else state.phase
    return replace(state, phase=phase, gaps=gaps)


def _unmissed(state: State) -> State:
    """A gap is told of later than it began: strokes that were called missed meanwhile were not heard."""
    strokes = list(state.strokes)
    for index in range(state.first_open):
        if strokes[index].status is Status.MISSED and _deaf(state, index):
            strokes[index] = Stroke(Status.NO_INPUT)
    return replace(state, strokes=tuple(strokes))


def _advance(state: State, at_us: int) -> tuple[State, tuple[Effect, ...]]:
    """Let time pass: settle what can no longer be played, finish bars, finish the take."""
    if at_us <= state.now_us or state.stands:
        return state, ()
    if any(one.until_us is not None and one.until_us <= at_us for one in state.said):
        state = replace(state, said=tuple(one for one in state.said if one.until_us is None or one.until_us > at_us))
    targets, now, last = state.columns.targets, at_us - state.columns.delay_us, state.first_open
    while last < len(targets) and targets[last].late_us + _GRACE_US < now:
        last += 1
    strokes = state.strokes
    if last > state.first_open:
        over = [settle(strokes[i], heard=not _deaf(state, i)) for i in range(state.first_open, last)]
        strokes = (*strokes[: state.first_open], *over, *strokes[last:])
    phase = Phase.PLAYING if state.phase is Phase.COUNT_IN and at_us >= state.begin_us else state.phase
    state = replace(state, now_us=at_us, strokes=strokes, first_open=last, phase=phase)
    state, effects = _finish_bars(state, now)
    if now > state.columns.end_us + _GRACE_US:
        return _finish(state, effects, "played")
    return state, effects


def _look_again(state: State, until_us: int) -> State:
    """Have the strokes of the bars that are over matched by the full aligner, and settled."""
    columns, done = state.columns, state.bars_done
    first = columns.bars[done].targets.start if done < len(columns.bars) else len(columns.targets)
    if first >= len(columns.targets):
        return state
    seen = review(columns, state.strokes, state.lately, first, until_us)
    if seen is None:
        return state
    strokes = list(seen.strokes)
    for index in range(first, state.first_open):
        strokes[index] = settle(strokes[index], heard=not _deaf(state, index))
    before = tuple(one for one in state.extras if one.at_us < seen.since_us)
    extras = tuple(
        Extra(one.at_us, one.pitch, columns.bar_at(one.at_us).number)
        for one in seen.loose
        if one.at_us >= state.begin_us
    )
    recent = tuple((i, (strokes[i].offset_us or 0) - columns.lean_us) for i, _ in state.recent if strokes[i].notes)
    oldest = columns.bars[max(done - REVIEW_BARS, 0)].start_us - REACH_US
    lately = tuple(note for note in state.lately if note.at_us >= oldest)
    return replace(state, strokes=tuple(strokes), extras=(*before, *extras), recent=recent, lately=lately)


def _deaf(state: State, index: int) -> bool:
    """Whether a gap covers the place of a stroke."""
    at = state.columns.targets[index].at_us + state.columns.lean_us + state.columns.delay_us
    return any(gap.from_us - _EDGE_US <= at and (gap.to_us is None or at <= gap.to_us + _EDGE_US) for gap in state.gaps)


def _finish_bars(state: State, now_us: int) -> tuple[State, tuple[Effect, ...]]:
    """Report each bar whose end has passed and whose strokes are all settled."""
    done = _bars_over(state, now_us)
    if done == state.bars_done:
        return state, ()
    state = _look_again(state, now_us - state.columns.lean_us)
    told = tuple(BarDone(bar_result(state, bar)) for bar in state.columns.bars[state.bars_done : done])
    return replace(state, bars_done=done), told


def _bars_over(state: State, now_us: int) -> int:
    """How many bars are over, all their strokes settled."""
    done = state.bars_done
    while done < len(state.columns.bars):
        bar = state.columns.bars[done]
        waiting = any(state.strokes[index].status is Status.WAITING for index in bar.targets)
        if waiting or now_us <= bar.end_us + _GRACE_US:
            break
        done += 1
    return done


def _finish(state: State, effects: tuple[Effect, ...], ending: str) -> tuple[State, tuple[Effect, ...]]:
    if state.bars_done < len(state.columns.bars):
        state = _look_again(state, state.now_us - state.columns.delay_us)
    return replace(state, phase=Phase.DONE, ending=ending), (*effects, Finished(ending))
