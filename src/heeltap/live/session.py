"""A drill as a pure step: events in, a new state and effects out. No clock, no thread, no device.

Whoever runs it feeds what the engine reports (`Note`, `Clock`, `Click`, `Lost`, `Back`) and what the player asks
(`Begin`, `Hold`, `GoOn`, `Stop`, `Press`, `Show`), carries out the effects, and draws the state whenever it likes. Times are
microseconds from bar 1, beat 1; the count-in lies before 0.

The phases::

    ready --Begin--> count-in --time--> playing --time or Stop--> done
                          |  ^             |  ^
                        Hold GoOn        Hold GoOn
                          v  |             v  |
                          paused           paused

Inside: the events, `BarDone`, `Finished` and `Again` (the effects), `State`, `Phase`, `Feedback`, `begin`, `step`, `bar_result`.
"""

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import NamedTuple

from heeltap.live.matcher import Heard, Status, Stroke, Struck, place_note, settle
from heeltap.live.pulse import LATE_US
from heeltap.live.review import REVIEW_BARS, review
from heeltap.live.sheet import REACH_US, Sheet, SheetBar

__all__ = [
    "Again",
    "Back",
    "BarDone",
    "BarResult",
    "Begin",
    "Click",
    "Clock",
    "Effect",
    "Event",
    "Extra",
    "Feedback",
    "Finished",
    "Gap",
    "GoOn",
    "Hold",
    "Lost",
    "Note",
    "Phase",
    "Press",
    "Show",
    "State",
    "Stop",
    "bar_result",
    "begin",
    "step",
]

_GRACE_US = 40_000
"""A bar is called finished so long after its end: notes need up to 10 ms through the pipe, a busy screen some more."""

_RECENT = 16
"""Strokes on the lean scale."""


class Phase(StrEnum):
    """Where a drill stands."""

    READY = "ready"
    COUNT_IN = "count-in"
    PLAYING = "playing"
    PAUSED = "paused"
    DONE = "done"


class Feedback(StrEnum):
    """When the player sees numbers: after each bar, at each stroke, after the take, or less and less often."""

    BAR = "bar"
    STROKE = "stroke"
    AFTER = "after"
    FADE = "fade"

    def for_take(self, number: int) -> "Feedback":
        """What ``fade`` means in the n-th take (from 1): four takes with numbers, then every second, then every fourth.

        Numbers given on fewer and fewer takes teach more than numbers on each (Winstein & Schmidt, 1990, Journal of
        Experimental Psychology: Learning, Memory, and Cognition 16, 677-691); how fast they fade is ours.
        """
        if self is not Feedback.FADE:
            return self
        every = 1 if number <= 4 else 2 if number <= 12 else 4
        return Feedback.BAR if number % every == 0 else Feedback.AFTER


class Begin(NamedTuple):
    """The engine runs; the count-in starts."""


class Note(NamedTuple):
    """A note-on, as stamped."""

    at_us: int
    pitch: int
    velocity: int
    port: int = 0
    """Index of the input."""


class Clock(NamedTuple):
    """Time has come so far."""

    at_us: int


class Click(NamedTuple):
    """A click was sent."""

    due_us: int
    sent_us: int


class Lost(NamedTuple):
    """An input is gone."""

    at_us: int
    port: int = 0
    """Index of the input; -1 is all of them."""


class Back(NamedTuple):
    """That input is there again."""

    at_us: int
    port: int = 0


class Hold(NamedTuple):
    """The player, or the system, holds the take: the click may go on, nothing counts."""

    at_us: int


class GoOn(NamedTuple):
    """The take counts again."""

    at_us: int


class Stop(NamedTuple):
    """The take ends here."""

    at_us: int
    reason: str = "stopped"


class Press(NamedTuple):
    """The player pressed a hands-free control; of the actions that it has, the one that makes sense now is done."""

    at_us: int
    actions: tuple[str, ...]
    """Of `heeltap.live.handsfree.ACTIONS`."""


class Show(NamedTuple):
    """The player wants numbers at other times."""

    feedback: Feedback


Event = Begin | Note | Clock | Click | Lost | Back | Hold | GoOn | Stop | Press | Show


class Extra(NamedTuple):
    """A note that no stroke claimed."""

    at_us: int
    pitch: int
    bar: int


class Gap(NamedTuple):
    """A stretch in which nothing could be heard or counted."""

    from_us: int
    to_us: int | None
    """None while it lasts."""
    why: str
    """``lost`` or ``held``."""
    port: int = 0
    """Of the input that was lost; -1 is all of them."""


class BarResult(NamedTuple):
    """A bar that is over."""

    bar: SheetBar
    strokes: tuple[Stroke, ...]
    extras: int


class BarDone(NamedTuple):
    """Effect: a bar is over and may be shown."""

    result: BarResult


class Finished(NamedTuple):
    """Effect: the take is over; stop the engine, keep the take, score it."""

    ending: str


class Again(NamedTuple):
    """Effect: play the exercise, from its count-in, once this take (if there is one) is kept."""


Effect = BarDone | Finished | Again


@dataclass(frozen=True, slots=True)
class State:
    """Everything that a face draws."""

    sheet: Sheet
    strokes: tuple[Stroke, ...]
    """One a target."""
    feedback: Feedback = Feedback.BAR
    phase: Phase = Phase.READY
    now_us: int = -(2**62)
    first_open: int = 0
    """No stroke before this one can still be played."""
    bars_done: int = 0
    extras: tuple[Extra, ...] = ()
    bounces: int = 0
    """Double triggers that were folded."""
    recent: tuple[tuple[int, int], ...] = ()
    """(stroke, offset minus lean in microseconds) of the last strokes, newest last."""
    heard: Heard = field(default_factory=Heard)
    lately: tuple[Struck, ...] = ()
    """The notes of the last bars, bounces left out: what the second look goes by."""
    gaps: tuple[Gap, ...] = ()
    late_clicks: tuple[int, ...] = ()
    """When the clicks were due that left too late, microseconds."""
    ending: str = ""
    """Why the take ended: ``played``, ``stopped``, or what the engine said."""

    @property
    def connected(self) -> bool:
        """Whether every input is there."""
        return not any(gap.to_us is None and gap.why == "lost" for gap in self.gaps)

    def shows(self, bar: SheetBar) -> bool:
        """Whether the numbers of a bar are shown now."""
        if self.phase is Phase.DONE or self.feedback is Feedback.STROKE:
            return True
        return self.feedback is Feedback.BAR and bar.number <= self.bars_done


def begin(sheet: Sheet, feedback: Feedback = Feedback.BAR) -> State:
    """The state before the first event."""
    return State(sheet, (Stroke(),) * len(sheet.targets), feedback)


def step(state: State, event: Event) -> tuple[State, tuple[Effect, ...]]:
    """The state after an event, and what is to be done about it. A finished drill changes only what it shows."""
    if isinstance(event, Show):
        return replace(state, feedback=event.feedback), ()
    if isinstance(event, Press):
        return _press(state, event)
    if state.phase is Phase.DONE:
        return state, ()
    if isinstance(event, Begin):
        return (replace(state, phase=Phase.COUNT_IN) if state.phase is Phase.READY else state), ()
    if isinstance(event, Click):
        late = event.sent_us - event.due_us > LATE_US
        return (replace(state, late_clicks=(*state.late_clicks, event.due_us)) if late else state), ()
    if isinstance(event, Note):
        return _advance(_note(state, event), event.at_us)
    if isinstance(event, Clock):
        return _advance(state, event.at_us)
    if isinstance(event, Stop):
        moved, effects = _advance(state, event.at_us)
        return (moved, effects) if moved.phase is Phase.DONE else _finish(moved, effects, event.reason)
    return _advance(_gap(state, event), event.at_us)


def _press(state: State, event: Press) -> tuple[State, tuple[Effect, ...]]:
    """What a control does: it starts where nothing runs, lets a held take go on, and ends one that runs."""
    if state.phase in (Phase.READY, Phase.DONE):
        return state, ((Again(),) if {"start", "repeat"} & set(event.actions) else ())
    if state.phase is Phase.PAUSED and "start" in event.actions:
        return step(state, GoOn(event.at_us))
    for action in ("stop", "repeat"):
        if action in event.actions:
            moved, effects = step(state, Stop(event.at_us))
            return moved, ((*effects, Again()) if action == "repeat" else effects)
    return state, ()


def bar_result(state: State, bar: SheetBar) -> BarResult:
    """How one bar stands."""
    played = tuple(state.strokes[index] for index in bar.targets)
    return BarResult(bar, played, sum(extra.bar == bar.number for extra in state.extras))


def _note(state: State, event: Note) -> State:
    """Give a note to its stroke; in the count-in, players tap along and nothing is extra."""
    note = Struck(event.at_us - state.sheet.delay_us, event.pitch, event.velocity, event.port)
    if state.phase not in (Phase.COUNT_IN, Phase.PLAYING):
        return state
    sheet = state.sheet
    if state.heard.bounce(note, sheet.retrigger_of.get(note.pitch, sheet.retrigger_us)):
        return replace(state, bounces=state.bounces + 1)
    state = replace(state, heard=state.heard.add(note), lately=(*state.lately, note))
    place = place_note(sheet.targets, state.strokes, state.first_open, note, sheet.lean_us)
    loose = (note,) if place.target < 0 else place.displaced
    extras = tuple(Extra(one.at_us, one.pitch, sheet.bar_at(one.at_us).number) for one in loose if one.at_us >= 0)
    state = replace(state, extras=(*state.extras, *extras)) if extras else state
    if place.target < 0:
        return state
    strokes = (*state.strokes[: place.target], place.stroke, *state.strokes[place.target + 1 :])
    offset = (place.stroke.offset_us or 0) - sheet.lean_us
    others = tuple(pair for pair in state.recent if pair[0] != place.target)
    return replace(state, strokes=strokes, recent=(*others, (place.target, offset))[-_RECENT:])


def _gap(state: State, event: Lost | Back | Hold | GoOn) -> State:
    """Open or close a gap; opening an open one and closing a closed one change nothing."""
    why = "lost" if isinstance(event, Lost | Back) else "held"
    port = event.port if isinstance(event, Lost | Back) else 0
    lasting = [gap for gap in state.gaps if gap.to_us is None and (gap.why, gap.port) == (why, port)]
    if isinstance(event, Lost | Hold):
        if lasting:
            return state
        phase = Phase.PAUSED if why == "held" else state.phase
        return replace(state, phase=phase, gaps=(*state.gaps, Gap(event.at_us, None, why, port)))
    gaps = tuple(gap._replace(to_us=event.at_us) if gap in lasting else gap for gap in state.gaps)
    phase = Phase.COUNT_IN if why == "held" and state.phase is Phase.PAUSED else state.phase
    return replace(state, phase=phase, gaps=gaps)


def _advance(state: State, at_us: int) -> tuple[State, tuple[Effect, ...]]:
    """Let time pass: settle what can no longer be played, finish bars, finish the take."""
    if at_us <= state.now_us:
        return state, ()
    targets, now, last = state.sheet.targets, at_us - state.sheet.delay_us, state.first_open
    while last < len(targets) and targets[last].late_us + _GRACE_US < now:
        last += 1
    strokes = state.strokes
    if last > state.first_open:
        over = [settle(strokes[i], heard=not _deaf(state, i)) for i in range(state.first_open, last)]
        strokes = (*strokes[: state.first_open], *over, *strokes[last:])
    phase = Phase.PLAYING if state.phase is Phase.COUNT_IN and at_us >= 0 else state.phase
    state = replace(state, now_us=at_us, strokes=strokes, first_open=last, phase=phase)
    state, effects = _finish_bars(state, now)
    if now > state.sheet.end_us + _GRACE_US:
        return _finish(state, effects, "played")
    return state, effects


def _look_again(state: State, until_us: int) -> State:
    """Have the strokes of the bars that are over matched by the full aligner, and settled."""
    sheet, done = state.sheet, state.bars_done
    first = sheet.bars[done].targets.start if done < len(sheet.bars) else len(sheet.targets)
    if first >= len(sheet.targets):
        return state
    seen = review(sheet, state.strokes, state.lately, first, until_us)
    if seen is None:
        return state
    strokes = list(seen.strokes)
    for index in range(first, state.first_open):
        strokes[index] = settle(strokes[index], heard=not _deaf(state, index))
    before = tuple(one for one in state.extras if one.at_us < seen.since_us)
    extras = tuple(Extra(one.at_us, one.pitch, sheet.bar_at(one.at_us).number) for one in seen.loose if one.at_us >= 0)
    recent = tuple((i, (strokes[i].offset_us or 0) - sheet.lean_us) for i, _ in state.recent if strokes[i].notes)
    oldest = sheet.bars[max(done - REVIEW_BARS, 0)].start_us - REACH_US
    lately = tuple(note for note in state.lately if note.at_us >= oldest)
    return replace(state, strokes=tuple(strokes), extras=(*before, *extras), recent=recent, lately=lately)


def _deaf(state: State, index: int) -> bool:
    """Whether a gap covers the place of a stroke."""
    at = state.sheet.targets[index].at_us + state.sheet.lean_us + state.sheet.delay_us
    reach = 50_000  # a stroke this close to the edge of a gap may have fallen into it
    return any(gap.from_us - reach <= at and (gap.to_us is None or at <= gap.to_us + reach) for gap in state.gaps)


def _finish_bars(state: State, now_us: int) -> tuple[State, tuple[Effect, ...]]:
    """Report each bar whose end has passed and whose strokes are all settled."""
    effects: list[Effect] = []
    done = _bars_over(state, now_us)
    if done > state.bars_done:
        state = _look_again(state, now_us - state.sheet.lean_us)
    for bar in state.sheet.bars[state.bars_done : done]:
        effects.append(BarDone(bar_result(state, bar)))
    return (replace(state, bars_done=done) if done != state.bars_done else state), tuple(effects)


def _bars_over(state: State, now_us: int) -> int:
    """How many bars are over, all their strokes settled."""
    done = state.bars_done
    while done < len(state.sheet.bars):
        bar = state.sheet.bars[done]
        waiting = any(state.strokes[index].status is Status.WAITING for index in bar.targets)
        if waiting or now_us <= bar.end_us + _GRACE_US:
            break
        done += 1
    return done


def _finish(state: State, effects: tuple[Effect, ...], ending: str) -> tuple[State, tuple[Effect, ...]]:
    if state.bars_done < len(state.sheet.bars):
        state = _look_again(state, state.now_us - state.sheet.delay_us)
    return replace(state, phase=Phase.DONE, ending=ending), (*effects, Finished(ending))
