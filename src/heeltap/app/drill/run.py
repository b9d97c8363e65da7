"""Run a drill from the first click to the result: the engine plays and listens, the session judges, heeltap keeps the take.

A face calls `Run.turn` as often as it draws and shows ``Run.state``; it never stamps, matches or decides. `drill` does
that for faces that only print.

Inside: `Run`, `begun`, `Settings`, `DrillOutcome`, `drill`, `interrupts`, `FRAME_NS`, `INTERRUPTED`.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from heeltap.app.drill.columns import columns_for
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.external_clock import Conductor
from heeltap.app.drill.from_memory import from_memory
from heeltap.app.drill.interrupts import interrupts
from heeltap.app.drill.leading import drums_ahead
from heeltap.app.drill.outgoing import sound_of_port, what_is_sent
from heeltap.app.drill.player_setup import check_controls
from heeltap.app.drill.problems import problem_of
from heeltap.app.drill.settings import Settings, context_of, pauses_of, route_of_all
from heeltap.app.drill.silence import silence
from heeltap.app.drill.voices import voices_of
from heeltap.app.takes.finish_take import finish_take, read_recording
from heeltap.app.takes.history import index_take
from heeltap.app.takes.load_scored_inputs import load_scored_inputs, score_inputs
from heeltap.app.takes.passes import split_loop
from heeltap.clock import Clock, SystemClock
from heeltap.devices.computer_keys import key_message
from heeltap.devices.inputs import KEYS_NAME
from heeltap.engine import records
from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.engine.resuming import Resumption
from heeltap.errors import HeeltapError, InputFileError, PortError
from heeltap.files.takes.folder import open_take, set_aside
from heeltap.model.mix import Mix
from heeltap.model.result import Result
from heeltap.session import session
from heeltap.session.from_records import NO_OUTPUT, Presses, events_of
from heeltap.session.session import Effect, Event, Phase, State
from heeltap.sound.audio_out import is_audio
from heeltap.sound.click import count_click

__all__ = ["FRAME_NS", "INTERRUPTED", "DrillOutcome", "Face", "Run", "Settings", "begun", "drill", "interrupts"]

FRAME_NS = 33_000_000
"""Between two pictures: 30 a second."""

_STALLED_NS = 1_200_000_000
"""The engine gives a sign of life every 0.25 s; on a loaded machine one of them may be late."""

STALLED = "The engine stands still: nothing sounds, and nothing that you play is heard."
"""What the player is told then."""

INTERRUPTED = "interrupted"
"""The ending after Ctrl-C."""

Face = Callable[[State, tuple[Effect, ...]], None]
"""Shows a state; the effects say which bars are new."""


@dataclass(frozen=True, slots=True, eq=False)
class DrillOutcome:
    """What became of a drill."""

    folder: Path | None
    """The take; None when nothing was played."""
    result: Result | None
    """None when nothing could be judged."""
    ending: str
    """``played``, ``stopped``, or what broke."""
    problem: str
    """Why the take could not be kept or scored; empty when it was."""
    state: State
    notice: str = ""
    """Why the take is not in the history yet; empty when it is. The take itself is kept all the same."""
    passes: tuple[Path, ...] = ()
    """Of a loop the take of each pass; ``folder`` is then the whole recording."""

    @property
    def under_takes(self) -> Path | None:
        """The take as its guesses and its set name it: under the folder of all takes, where a whole loop lies aside."""
        return self.passes[0].parent / self.folder.name if self.passes and self.folder else self.folder

    @property
    def exit_code(self) -> int:
        """What a command that played it ends with: 0 when it was played or stopped, 130 after Ctrl-C, 3 when the take could
        not be kept, 4 when a device or the engine broke."""
        if self.problem:
            return InputFileError.exit_code
        if self.ending == INTERRUPTED:
            return 130
        return 0 if self.ending in ("played", "stopped") else PortError.exit_code


class Run:
    """One drill that is being played."""

    def __init__(self, drill: Drill, settings: Settings, *, clock: Clock | None = None) -> None:
        """Open the take and start the engine, which takes about half a second.

        Raises
        ------
        PortError, InputFileError, TakeFileError, StoreError
            A port, the takes folder or what is known of the route cannot be opened; nothing is left behind.
        """
        check_controls(settings.player, drill.plan)
        self._drill, self._settings = drill, settings
        self._clock = SystemClock() if clock is None else clock
        route = route_of_all(settings)
        self._context = context_of(drill, settings, route)
        self._ahead = drums_ahead(drill) if self._context.drums_lead else None
        columns = columns_for(drill, settings, route, self._ahead)
        feedback = settings.feedback.for_take(self._context.take_number)
        self.state = session.step(session.begin(columns, feedback), session.Begin())[0]
        self._notes: list[session.Note] = []
        self._presses = Presses(settings.player.controls)
        self._conductor: Conductor | None = None
        if settings.follow_clock is not None:
            self._conductor = Conductor(drill.plan, drill.count_in_bars, played=1 + len(settings.player.more_in))
            self.ask(session.Say(self._conductor.message))
        self.mix = settings.mix_for(drill)
        """How loud each voice sounds now."""
        self._stalled, self._sign_ns = False, self._clock.now_ns()
        self._take = open_take(settings.takes, self._context)
        try:
            self._engine: Engine = start_engine(self._spec())
        except BaseException:
            set_aside(self._take, keep=False)
            raise

    @property
    def take_number(self) -> int:
        """Which take of this exercise it is; 1 unless the feedback fades."""
        return self._context.take_number

    @property
    def journal(self) -> Path:
        """Where the raw take is being written."""
        return self._take.journal

    @property
    def silent(self) -> bool:
        """Whether nothing sounds: no output was asked for, it could not be opened, or it is gone."""
        gone = self._settings.silent or any(one.text == NO_OUTPUT for one in self.state.said)
        return gone or (self._settings.follow_clock is None and self.mix.silent(voices_of(self._drill)))

    @property
    def scheduler(self) -> str:
        """In words: whether the engine got real-time scheduling."""
        return self._engine.scheduler

    @property
    def over(self) -> bool:
        """Whether the session is done."""
        return self.state.phase is Phase.DONE

    def turn(self) -> tuple[Effect, ...]:
        """Take in everything that happened since the last turn; the new effects."""
        told = self._engine.poll()
        effects = self._take_in(told) + self._look_after_engine(told)
        for event in [] if self._conductor is None else self._conductor.pass_time(self._run_us):
            effects += self.ask(event)
        return effects if self._stalled else effects + self.ask(session.Elapsed(self.now_us))

    def _look_after_engine(self, told: Sequence[records.Record]) -> tuple[Effect, ...]:
        """Say that the engine stands still, when it does, and that it goes on: it gives a sign four times a second."""
        now_ns = self._clock.now_ns()
        if told:
            self._sign_ns = now_ns
        stalled = now_ns - self._sign_ns > _STALLED_NS and not self.over
        if stalled is self._stalled:
            return ()
        self._stalled = stalled
        return self.ask(session.Say(STALLED if stalled else "", "engine"))

    def _take_in(self, told: Iterable[records.Record]) -> tuple[Effect, ...]:
        """Feed what the engine told."""
        effects: list[Effect] = []
        for record in told:
            if record.kind == records.MOVED:
                cut_us = self.state.columns.cut_us(record.at_us)
                self._notes = [note for note in self._notes if note.at_us < cut_us]
                effects += self.ask(session.Resume(self._run_us, from_us=record.at_us))
                continue
            mine = record if self._conductor is None else self._conductor.place(record)
            for event in self._conductor.hear(record) if mine is None and self._conductor else []:
                effects += self.ask(event)
            for event in [] if mine is None else events_of(mine, self._presses):
                if isinstance(event, session.Note) and self._counts(event):
                    self._notes.append(event)
                effects += self.ask(event)
        if any(isinstance(effect, session.GoOn) for effect in effects):
            self.resume()
        return tuple(effects)

    def _counts(self, note: session.Note) -> bool:
        """Whether a note is one of the take: not while time stands still, nor in a count after a pause."""
        return not self.state.stands and note.at_us >= self.state.columns.cut_us(self.state.begin_us)

    @property
    def now_us(self) -> int:
        """This moment, microseconds from bar 1, beat 1; to another device's clock, at the plan's own tempo."""
        return self._run_us if self._conductor is None else self._conductor.us_at(self._run_us)

    @property
    def _run_us(self) -> int:
        """This moment on the clock of the engine's records."""
        return (self._clock.now_ns() - self._engine.zero_ns) // 1000

    def ask(self, event: Event) -> tuple[Effect, ...]:
        """Feed one event, such as what the player asks for."""
        self.state, effects = session.step(self.state, event)
        return effects

    def pause(self) -> None:
        """Stop the click, and time with it; another device's click goes on, and what is played meanwhile does not count."""
        if self.state.phase not in (Phase.COUNT_IN, Phase.PLAYING):
            return
        if self._conductor is not None:
            self.ask(session.Pause(self.now_us))
            return
        self._engine.pause()
        self.ask(session.Pause(self.now_us, stands=True))

    def resume(self) -> None:
        """Count in, and go on from the beginning of the bar in which the take was paused."""
        if self.state.phase is not Phase.PAUSED:
            return
        if not self.state.stands:
            self.ask(session.Resume(self.now_us))
            return
        columns = self.state.columns
        bar = columns.bar_at(max(self.state.now_us, 0))
        count = self._drill.count_in_bars
        at = Resumption(bar.start_us, count * (bar.end_us - bar.start_us), count * len(bar.beat_us), len(bar.beat_us))
        self._engine.resume(at, cut_us=columns.cut_us(bar.start_us))

    def stop(self, reason: str = "stopped") -> tuple[Effect, ...]:
        """End the take here; what was played so far is kept."""
        return self.ask(session.Stop(self.now_us, reason))

    def sound(self, mix: Mix) -> None:
        """Have each voice as loud as this from now on."""
        self.mix = mix
        self._engine.mix(mix)

    def key(self, key: str) -> None:
        """Pass on a key of the computer's keyboard, stamped now; keys that are no pads do nothing."""
        message = key_message(key)
        if message is not None and KEYS_NAME in self._settings.in_ports:
            self._engine.key(message, self._clock.now_ns())

    def finish(self) -> DrillOutcome:
        """End the engine, keep the take, score it. Never raises for what went wrong with the take: it says so."""
        if not self.over:
            self.stop()
        self._take_in(self._engine.stop())
        report = self._engine.report
        if report is None:  # it was killed, and could silence nothing
            silence(self._settings.out_port)
        fault, unwritten = ("", "") if report is None else (report.fault, report.unwritten)
        played = self.state.ending == "played"
        ending = self.state.ending if played or not fault else fault
        try:
            folder, kept = self._keep(ending)
            if folder is None:
                return DrillOutcome(None, None, ending, unwritten, self.state)
            # A disk that filled up while playing has the beginning only; what was heard is all there.
            whole = not unwritten or kept >= len(self._notes)
            problem = unwritten or (fault if played else "")
            if not whole:
                return DrillOutcome(folder, self._from_memory(), ending, problem, self.state)
            inputs = load_scored_inputs(folder)
            result = score_inputs(inputs)
            loop = split_loop(folder, self._context.passes)
            # The passes are new folders, which the history takes in by itself.
            notice = "" if loop.passes else index_take(inputs.take, result)
            return DrillOutcome(loop.whole, result, ending, problem, self.state, notice, loop.passes)
        except HeeltapError as error:
            self._take.lock.release()
            problem = unwritten or problem_of(error, self._take.folder)
            return DrillOutcome(self._take.folder, self._from_memory(), ending, problem, self.state)

    def _from_memory(self) -> Result | None:
        """The result of a take that could not be kept (a full disk), from the notes as they were stamped live."""
        early = None if self.state.ending == "played" else self.state.now_us
        return from_memory(self._notes, self._drill, self._context, ahead=self._ahead, early_us=early)

    def _keep(self, ending: str) -> tuple[Path | None, int]:
        """The finished folder, None when nothing was played; and how many notes it holds."""
        recording = read_recording(self._take.journal, self._settings.player.controls)
        count = len(recording.notes)
        if not count and not self._notes:
            set_aside(self._take, keep=False)
            return None, 0
        report = self._engine.report
        context = msgspec.structs.replace(
            self._context,
            left_out=pauses_of(self.state),
            dropped=max(0, len(self._notes) - count),
            engine={} if report is None else {name: getattr(report, name) for name in report.__slots__},
        )
        early = None if self.state.ending == "played" else max(self.state.now_us, -self._drill.count_in_us)
        folder = finish_take(self._take, context, ending=ending, judged_to_us=early, recording=recording)
        return folder, count

    def _spec(self) -> EngineSpec:
        """What the engine is to do."""
        settings = self._settings
        out_port = settings.out_port
        sound = sound_of_port(out_port)
        return EngineSpec(
            schedule=what_is_sent(
                self._drill,
                out_port,
                send_clock=settings.send_clock,
                song_bar=settings.song_bar,
                silent=settings.follow_clock is not None,
            ),
            in_ports=settings.in_ports,
            out_port=None if sound is not None else out_port,
            make_output=sound,
            clock_input=settings.clock_input,
            journal=self._take.journal,
            header={"trace": self._take.name, "bpm": self._tempo_bpm, "note": ""},
            start_delay_us=settings.start_delay_us,
            terminal=settings.terminal,
            count_click=None if settings.follow_clock is not None else count_click(self._drill.sound),
            script=settings.script,
            virtual=settings.virtual,
            mix=self.mix,
        )

    @property
    def _tempo_bpm(self) -> float:
        return round(60e6 / int(self._drill.plan.tempo.us_per_quarter[0]), 3)


def begun(what: Drill, settings: Settings, *, clock: Clock | None = None) -> Run:
    """A run that has begun; where the computer's own sound cannot be opened it goes on without, and says so."""
    try:
        return Run(what, settings, clock=clock)
    except PortError as error:
        if not is_audio(settings.out_port or ""):
            raise
        run = Run(what, replace(settings, out_port=None), clock=clock)
        run.ask(session.Say(f"Nothing sounds, so watch the beat: {error}"))
        return run


def drill(what: Drill, settings: Settings, face: Face, *, clock: Clock | None = None) -> DrillOutcome:
    """Play a drill to its end and return what became of it.

    Parameters
    ----------
    what : Drill
        From `heeltap.app.drill.drill.drill_of`.
    settings : Settings
    face : callable
        Called at most 30 times a second with the state and what is new.

    Raises
    ------
    PortError, InputFileError, TakeFileError
        It could not begin.

    Notes
    -----
    Ctrl-C ends the take like the stop key; the outcome then says `INTERRUPTED`, and the take is kept.
    """
    waiting = SystemClock() if clock is None else clock
    with interrupts() as interrupted:
        run = begun(what, settings, clock=waiting)
        try:
            face(run.state, ())
            while not run.over:
                waiting.sleep_until_ns(waiting.now_ns() + FRAME_NS)
                # First the flag: the engine, too, got the signal, and its end must not be taken for the reason.
                effects = run.stop(INTERRUPTED) if interrupted.is_set() else run.turn()
                face(run.state, effects)
        finally:
            outcome = run.finish()
    return outcome
