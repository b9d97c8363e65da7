"""Hear a take with its click, or a plan before you play it.

You hear what you read: a played note sounds at ``played - known delay``, so its distance to the click is the
offset in the result, and a planned note sounds at ``reference + lean``, where you aim.

Inside: `heard_plan`, `heard`, `both_versions`, `click_of`, `without_retriggers`, `Playback`.
"""

import contextlib
from collections import defaultdict
from dataclasses import replace

import numpy as np

from heeltap.analysis.strokes import RETRIGGER_US, fold_retriggers
from heeltap.app.drill.backing import Wish, backing_of, wish_of
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.outgoing import sound_of_port
from heeltap.app.drill.silence import silence
from heeltap.clock import Clock, SystemClock
from heeltap.engine.process import EngineSpec, start_engine
from heeltap.engine.records import DIED, DONE
from heeltap.errors import HeeltapError, PortError, sentence
from heeltap.files.smf.types import Pedal
from heeltap.files.takes.folder import Take
from heeltap.files.takes.metadata import Context, drums_from
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model.arrays import IntArray, as_ints
from heeltap.model.exercise import PADS, clicks
from heeltap.model.messages import Schedule, merge
from heeltap.model.mix import Mix, part_kind
from heeltap.model.notes import Notes
from heeltap.model.plan import ANY_PITCH, Plan
from heeltap.model.result import Result
from heeltap.sound.click import CLICK_SOUNDS, NO_CLICKS, ClickSound, click_schedule
from heeltap.sound.drums import part_schedule
from heeltap.sound.percussion import CHANNEL
from heeltap.sound.played import MIDDLING, played_schedule
from heeltap.sound.stretches import begun_at, until

__all__ = ["Playback", "both_versions", "click_of", "heard", "heard_plan", "without_retriggers"]

_PLAYED, _MOVED = part_kind(1), part_kind(2)

_VERSIONS = {False: Mix(off=frozenset({_MOVED})), True: Mix(off=frozenset({_PLAYED}))}
"""Which voice sounds, by whether every stroke is to be where it belongs."""

_ANY_KEYS = (38, 40, 38)
"""Where any key would do: the acoustic snare, for the left hand the electric one. The side stick is a click's sound."""

_LONGEST_US = 300_000
"""A planned note is heard for half the way to the next, at most so long."""


def heard_plan(drill: Drill) -> Schedule:
    """What should be played, as it should be played: each note at its place and the lean, with the drill's click or
    drummer and its count-in.

    A plan for pads goes to channel 10, any other to channel 1; where any key would do a snare on channel 10 is heard.
    """
    plan, own = drill.plan, drill.schedule
    lean_us = round(1000 * drill.lean_ms)
    free = plan.pitch == ANY_PITCH
    notes = Notes(
        plan.at_us + lean_us,
        np.where(free, as_ints(_ANY_KEYS)[plan.hand], plan.pitch),
        np.where(plan.velocity > 0, plan.velocity, MIDDLING),
        np.where(free | _for_pads(drill), CHANNEL, 0).astype(np.int64),
        np.zeros(len(plan), np.int64),
        _lengths_us(plan),
    )
    return merge(own, played_schedule(notes, own.end_us))


def _for_pads(drill: Drill) -> bool:
    """Whether it is written for pads: for an exercise the same question decides the channel in its MIDI file."""
    if drill.exercise is None:
        return drill.percussion
    return any(voice.name in PADS for voice in exercise_from_toml(drill.exercise).voices)


def _lengths_us(plan: Plan) -> IntArray:
    """Half the way to the next stroke."""
    starts = np.unique(plan.at_us)
    gap = np.diff(starts, append=starts[-1:] + 2 * _LONGEST_US)
    lengths: IntArray = np.clip(gap // 2, 1, _LONGEST_US)
    return lengths[np.searchsorted(starts, plan.at_us)]


def heard(take: Take, result: Result | None = None, *, sound: ClickSound = CLICK_SOUNDS["wood"]) -> Schedule:
    """A kept take, with the click that it was played to.

    Every note that was played is heard, those too that the score leaves out (a late click, a held take, what came after
    an early end); only double triggers are not, which the pad played and not the player. The known delay is taken away
    from all of them. The click of a take that ended early ends with it; one that cannot be rebuilt is every beat.

    Parameters
    ----------
    take : Take
    result : Result, optional
        Where it is given, each note that it matched, on the right key or on another, sits at its place and the lean; extra
        notes stay where they were played.
    sound : ClickSound
        Of the click and of a drummer.
    """
    notes = _own(take, result)
    click = _click_until(take, int(notes.onset_us.max(initial=0)), sound)
    return merge(click, played_schedule(notes, click.end_us, pedal=_pedal(take)))


def both_versions(take: Take, result: Result, *, sound: ClickSound = CLICK_SOUNDS["wood"]) -> Schedule:
    """A take as it was played and with every stroke where it belongs, as two voices of one schedule; a pedal acts on both.

    Parameters
    ----------
    take : Take
    result : Result
        Of the take.
    sound : ClickSound
        Of the click and of a drummer.
    """
    versions = [_own(take, one) for one in (None, result)]
    last = max(int(notes.onset_us.max(initial=0)) for notes in versions)
    click = _click_until(take, last, sound)
    pedal = played_schedule(take.notes.pick(np.zeros(len(take.notes), np.bool_)), click.end_us, pedal=_pedal(take))
    voices = [
        _as_voice(played_schedule(notes, click.end_us), kind)
        for notes, kind in zip(versions, (_PLAYED, _MOVED), strict=True)
    ]
    return merge(click, pedal, *voices)


def _as_voice(schedule: Schedule, kind: str) -> Schedule:
    """Everything of it as one voice of the mix, what lets its notes go, too."""
    return replace(schedule, kind=(kind,) * len(schedule))


def _own(take: Take, result: Result | None) -> Notes:
    """What the player played, in time order; where a result is given, every stroke where it belongs."""
    context, delay_ms = take.context, take.context.delay_ms or 0.0
    notes = without_retriggers(take.notes, context)
    if result is not None:
        at_us = _where_meant(notes, take.plan, result, delay_ms, round(1000 * context.lean_ms))
    else:
        at_us = _earlier(notes.onset_us, delay_ms)
    order = np.argsort(at_us, kind="stable")
    columns = (notes.pitch, notes.velocity, notes.channel, notes.track, notes.duration_us)
    return Notes(at_us[order], *(column[order] for column in columns))


def _pedal(take: Take) -> Pedal:
    foot = take.pedal
    return Pedal(_earlier(foot.at_us, take.context.delay_ms or 0.0), foot.channel, foot.value, foot.track)


def _click_until(take: Take, last_us: int, sound: ClickSound) -> Schedule:
    """The click of a take; of one that ended early until its last stroke."""
    click = click_of(take.context, take.plan, sound)
    return click if take.context.judged_to_us is None else until(click, max(take.context.judged_to_us, last_us))


def _earlier(at_us: IntArray, delay_ms: float) -> IntArray:
    """Times without the delay, rounded once."""
    earlier: IntArray = np.rint(at_us - 1000 * delay_ms).astype(np.int64)
    return earlier


def without_retriggers(notes: Notes, context: Context) -> Notes:
    """The notes that the score counts as strokes."""
    usual = RETRIGGER_US if context.retrigger_ms is None else round(1000 * context.retrigger_ms)
    single = {key: round(1000 * ms) for key, ms in context.retrigger_of.items()}
    return fold_retriggers(notes, retrigger_us=usual, retrigger_of=single).notes


def _where_meant(notes: Notes, plan: Plan, result: Result, delay_ms: float, lean_us: int) -> IntArray:
    """When each note would have been played by somebody who plays as the plan and the lean say.

    The result's rows are told apart by moment, key and loudness. Their offsets are rounded to a microsecond, so the
    planned moment is the one that is nearest.
    """
    at_us = _earlier(notes.onset_us, delay_ms)
    rows: dict[tuple[int, int, int], list[float]] = defaultdict(list)
    for row in result.notes:
        if row.offset_ms is not None:
            rows[round(row.time_s * 1e6), row.pitch, row.velocity].append(row.offset_ms)
    planned = np.unique(plan.at_us)
    middle = (planned[1:] + planned[:-1]) / 2
    keys = zip(notes.onset_us.tolist(), notes.pitch.tolist(), notes.velocity.tolist(), strict=True)
    for i, key in enumerate(keys):
        if rows[key]:
            reference = key[0] - 1000 * (delay_ms + rows[key].pop(0))
            at_us[i] = planned[np.searchsorted(middle, reference)] + lean_us
    return at_us


def click_of(context: Context, plan: Plan, sound: ClickSound) -> Schedule:
    """The count-in and the click or the drummer that was heard; every beat where that is not known."""
    quarters = context.count_in_us / int(plan.tempo.us_per_quarter[0])
    # Before a pick-up the count goes on up to it: what it takes of a bar is no bar of its own.
    count_in = max(0, int(quarters / plan.metre.counted_metre.bar_quarters + 1e-6))
    own, wish = None, Wish()
    with contextlib.suppress(HeeltapError):
        wish = wish_of(context.heard or None)
    with contextlib.suppress(HeeltapError):
        if context.exercise is not None:
            own = exercise_from_toml(context.exercise).click
    asked = own if own is not None or wish.source != "click" or len(plan.metre.metres) > 1 else wish.plan
    clicked = None if asked is None else clicks(asked, plan.metre.metres[0], plan.bars)
    backing = None
    if wish.source != "click":
        with contextlib.suppress(HeeltapError):  # takes of earlier versions keep no drums, and a pattern may be gone
            backing = _drummer(context, plan, sound) or backing_of(wish, plan, own, song=None, sound=sound)
    click = click_schedule(
        plan.tempo,
        plan.metre,
        plan.bars,
        clicks=clicked if backing is None else NO_CLICKS,
        count_in_bars=count_in,
        sound=sound,
    )
    return click if backing is None else merge(click, backing)


def _drummer(context: Context, plan: Plan, sound: ClickSound) -> Schedule | None:
    """The drum strokes that sounded in the take; None where it keeps none."""
    if context.drums is None or not context.drums.at_us:
        return None
    end_us = round(float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(plan.bars + 1))))
    return part_schedule(drums_from(context.drums, context.name), end_us, channel=sound.channel)


class Playback:
    """One schedule that is being heard, sent by an engine of its own that listens to nothing and keeps nothing."""

    def __init__(
        self,
        schedule: Schedule,
        out_port: str | None,
        *,
        from_us: int | None = None,
        moved: bool = False,
        clock: Clock | None = None,
        start_delay_us: int = 300_000,
    ) -> None:
        """Start it, which takes about half a second.

        Parameters
        ----------
        schedule : Schedule
            From `heard_plan`, `heard` or `both_versions`.
        out_port : str, optional
            A MIDI output, ``audio`` or ``audio:DEVICE``.
        from_us : int, optional
            Where to begin, microseconds from bar 1, beat 1; with the count-in where not given.
        moved : bool
            Of a schedule with `both_versions`, hear that in which every stroke is where it belongs.
        clock : Clock, optional
            The machine's own where not given; only `now_us` reads it.
        start_delay_us : int
            From ready to the first sound.

        Raises
        ------
        PortError
            There is no output, or it cannot be opened; nothing keeps running.
        """
        if out_port is None:
            hint = "choose one on the set-up screen or with --out"
            raise PortError(sentence("listening", "no output", "a MIDI output or audio", hint))
        self._clock: Clock = SystemClock() if clock is None else clock
        self._out_port, self._from_us, self._over, self._stopped = out_port, from_us or 0, False, False
        sound = sound_of_port(out_port)
        spec = EngineSpec(
            schedule=schedule if from_us is None else begun_at(schedule, from_us),
            out_port=None if sound is not None else out_port,
            make_output=sound,
            start_delay_us=start_delay_us,
            mix=_VERSIONS[moved],
        )
        self._engine = start_engine(spec)

    @property
    def now_us(self) -> int:
        """This moment in the time of the schedule, microseconds from bar 1, beat 1."""
        return (self._clock.now_ns() - self._engine.zero_ns) // 1000 + self._from_us

    def hear(self, *, moved: bool) -> None:
        """Go over to the other version of `both_versions` where it is: the engine plays both and lets one of them sound."""
        self._engine.mix(_VERSIONS[moved])

    @property
    def over(self) -> bool:
        """Whether nothing more will be heard: it ended, was stopped, or broke."""
        return self._over or not self._engine.alive

    @property
    def problem(self) -> str:
        """What broke while it was heard; empty when nothing did."""
        report = self._engine.report
        return "" if report is None else report.fault

    def turn(self) -> None:
        """Take in what the engine tells, as often as a screen is drawn."""
        if not self._stopped:
            self._over |= any(record.kind in (DONE, DIED) for record in self._engine.poll())

    def stop(self) -> None:
        """Silence it and end the engine; a second call does nothing."""
        if self._stopped:
            return
        self._stopped = self._over = True
        self._engine.stop()
        if self._engine.report is None:  # it was killed, and could silence nothing
            silence(self._out_port)
