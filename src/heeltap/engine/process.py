"""The engine as a process of its own: where the loop runs decides how exact it is, so it never runs where something
draws.

A spawned process opens the ports, says that it is ready, runs `heeltap.engine.loop.EngineLoop` in its only working
thread, and hands a report back. It ends by itself when the last bar is over, when it is asked to, on SIGINT, SIGTERM or
SIGHUP, and when the process that started it is gone; each time it silences all notes and closes the journal.

Inside: `EngineSpec`, `start_engine`, `Engine`, `run_here`.
"""

import contextlib
import multiprocessing
import signal
import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from heeltap.clock import Clock, SystemClock
from heeltap.devices.inputs import open_input, open_output, reopen_input, reopen_output
from heeltap.devices.loopback import open_loop
from heeltap.devices.protocols import InPort, OutPort
from heeltap.devices.quiet import quiet_stderr
from heeltap.engine.channel import Channel, channel_pair
from heeltap.engine.interfaces import EngineReport, Journaling, ToScreen
from heeltap.engine.loop import EngineLoop
from heeltap.engine.mixing import mix_records
from heeltap.engine.records import DIED, KEY, MOVED, PAUSE, RESUME, STOP, Record
from heeltap.engine.resuming import Resumption
from heeltap.engine.scheduling import SCHEDULERS, ask_for_real_time, stop_collecting
from heeltap.engine.scripts import script_of
from heeltap.engine.terminal_rescue import Terminal, give_back
from heeltap.errors import HeeltapError
from heeltap.model.messages import ALL_NOTES_OFF, START, STOP_CLOCK, Schedule
from heeltap.model.mix import Mix

__all__ = ["Engine", "EngineReport", "EngineSpec", "run_here", "start_engine"]

_START_S = 30.0
"""How long starting may take: spawning and importing cost 0.4 s on a quiet machine, ten times that on a loaded one."""

_WITHOUT_END_US = 86_400_000_000
"""A day: how long a run that follows a clock lasts if nobody ends it."""

_STOP_S = 3.0
"""How long the engine may take to end when asked: a turn is 1 ms, silencing and closing some more."""


@dataclass(frozen=True, slots=True)
class EngineSpec:
    """Everything that a run needs; it travels to the other process, so it holds no open things."""

    schedule: Schedule
    """What to send, and when the last bar ends."""
    in_ports: tuple[str, ...] = ()
    """Names as `heeltap.devices.inputs.open_input` takes them."""
    out_port: str | None = None
    """Name of the output, or None: no sound."""
    journal: Path | None = None
    """File to write the raw take to; must not exist."""
    header: Mapping[str, object] = field(default_factory=dict)
    """First line of the journal; ``zero_ns``, ``ports`` and ``scheduler`` are added."""
    start_delay_us: int = 300_000
    """From ready to the first click (or to bar 1, where no click comes before it)."""
    clock_input: int = -1
    """Index of the input whose MIDI clock is followed; -1 for none. The run then ends only when it is asked to."""
    tail_us: int = 500_000
    """How long to listen after the last bar."""
    script: Schedule | None = None
    """What a ``fake:`` input plays, instead of the file in its name."""
    api: str = ""
    """One of `heeltap.devices.systems.APIS`."""
    virtual: bool = False
    """Make ports of those names for others to connect to, instead of connecting to devices."""
    terminal: Terminal | None = None
    """Given back as it was when the process that started this one is killed."""
    real_time: bool = True
    """Ask for real-time scheduling."""
    make_output: Callable[[Schedule, Callable[[], int]], OutPort] | None = None
    """Opens an output that is no MIDI port, in place of ``out_port``: given the schedule and the engine's clock."""
    count_click: tuple[bytes, bytes] | None = None
    """What counts in again after a pause: the note-on of the one, and of every other beat; None counts in silence."""
    mix: Mix | None = None
    """How loud each voice is at the beginning; None is as written."""
    loop: str = ""
    """One of `heeltap.devices.loopback`'s: play into a loop that comes back, instead of opening the ports named above."""


class Engine:
    """The running engine, as seen from the process that draws."""

    def __init__(self, process: BaseProcess, channel: Channel, news: Connection, ready: tuple[int, int]) -> None:
        """Made by `start_engine`."""
        self._process, self._channel, self._news = process, channel, news
        self.zero_ns, code = ready
        """When bar 1, beat 1 falls, on `time.perf_counter_ns`, which all processes share."""
        self.scheduler = SCHEDULERS[code]
        """In words: whether real-time scheduling was granted."""
        self._report: EngineReport | None = None
        self._told_death = False

    @property
    def alive(self) -> bool:
        """Whether the engine still runs."""
        return self._process.is_alive()

    @property
    def report(self) -> EngineReport | None:
        """What the run was like; None while it runs, and for ever when the engine was killed."""
        if self._report is None:
            with contextlib.suppress(EOFError, OSError):
                if self._news.poll():
                    word, *rest = self._news.recv()
                    if word == "report":
                        self._report = rest[0]
        return self._report

    def poll(self) -> list[Record]:
        """Everything that happened since the last call, without waiting; a last `DIED` when the engine ended without a
        report."""
        records = self._channel.receive()
        for moved in [record for record in records if record.kind == MOVED]:
            self.zero_ns = moved.other_us
        self._channel.flush()
        if self._channel.closed_by_peer and not self._told_death:
            self._process.join(_STOP_S)
            if self.report is None:
                records.append(Record(DIED))
            self._told_death = True
        return records

    def key(self, message: bytes, at_ns: int) -> None:
        """Pass on a note-on from the computer's keyboard, stamped on `time.perf_counter_ns` when it was read."""
        self._channel.send(Record(KEY, message[0] & 15, message[1], message[2], at_us=at_ns))
        self._channel.flush()

    def mix(self, mix: Mix) -> None:
        """Have each voice as loud as this from now on."""
        for record in mix_records(mix):
            self._channel.send(record)
        self._channel.flush()

    def pause(self) -> None:
        """Ask for silence until `resume`."""
        self._channel.send(Record(PAUSE))
        self._channel.flush()

    def resume(self, at: Resumption, *, cut_us: int) -> None:
        """Ask for a count and the rest of the take from a bar line on; a `MOVED` record answers.

        Parameters
        ----------
        at : Resumption
        cut_us : int
            Earlier notes from here on are played again, so they do not count.
        """
        count = min(at.beats, 255)
        self._channel.send(
            Record(RESUME, number=at.per_bar, value=count, which=at.count_us, at_us=at.from_us, other_us=cut_us)
        )
        self._channel.flush()

    def ask_to_stop(self) -> None:
        """Ask the engine to end, without waiting for it."""
        self._channel.send(Record(STOP))
        self._channel.flush()

    def stop(self) -> list[Record]:
        """End the engine and return the last records; a second call does nothing. It is killed only if it does not
        answer."""
        if self._process.is_alive():
            self.ask_to_stop()
        last = []
        self._process.join(_STOP_S)
        if self._process.is_alive():
            self._process.terminate()
            self._process.join(_STOP_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        if not self._channel.closed_by_peer:
            last = self.poll()
        _ = self.report
        self._channel.close()
        self._channel.closed_by_peer = True
        return last

    def __enter__(self) -> "Engine":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


def start_engine(spec: EngineSpec) -> Engine:
    """Start the engine process and wait until its ports are open and its count-in is set.

    Raises
    ------
    PortError, InputFileError, TakeFileError
        What the engine met when it opened its ports and its journal; nothing keeps running.
    """
    ours, theirs = channel_pair()
    context = multiprocessing.get_context("spawn")
    news, to_us = context.Pipe(duplex=True)
    process = context.Process(target=_process, args=(spec, theirs, to_us), name="heeltap engine", daemon=True)
    process.start()
    theirs.close()
    to_us.close()
    answer: tuple[Any, ...] = ("error", HeeltapError, f"engine: no answer in {_START_S:.0f} s")
    try:
        if news.poll(_START_S):
            answer = news.recv()
    except EOFError:
        answer = ("error", HeeltapError, "engine: it ended while it was starting")
    if answer[0] == "ready":
        return Engine(process, Channel(ours), news, (answer[1], answer[2]))
    ours.close()
    process.join(_STOP_S)
    if process.is_alive():
        process.kill()
    raise _rebuilt(answer[1], answer[2])


def _rebuilt(kind: type[HeeltapError], text: str) -> HeeltapError:
    """The error that the other process met, with its own line of text whatever its constructor takes."""
    error = kind.__new__(kind, text)
    Exception.__init__(error, text)
    return error


def _process(spec: EngineSpec, sock: socket.socket, news: Connection) -> None:
    """What the spawned process runs."""
    channel = Channel(sock)
    clock = SystemClock()
    stopper: list[Callable[[], None]] = []
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: [stop() for stop in stopper])
    code = ask_for_real_time(spec.real_time)
    try:
        inputs, output = _open_ports(spec, clock)
        zero_ns, journal = _zero(spec, clock), None
        if spec.journal is not None:
            journal = _journal(spec, zero_ns, [port.name for port in inputs], code)
    except HeeltapError as error:
        news.send(("error", type(error), str(error)))
        return
    loop = _loop(spec, clock, inputs, output, journal, channel, zero_ns, SCHEDULERS[code])
    stopper.append(loop.stop)
    with contextlib.suppress(OSError):  # nobody may be left to read it; the loop sees that too, and ends in order
        news.send(("ready", zero_ns, code))
    stop_collecting()
    with quiet_stderr():  # what a driver has to say in the middle of a take would land on the screen
        report = loop.run()
    if channel.closed_by_peer and spec.terminal is not None:
        give_back(spec.terminal)
    with contextlib.suppress(OSError):  # nobody may be left to read it
        news.send(("report", report))
    channel.close()


def run_here(
    spec: EngineSpec,
    clock: Clock,
    screen: ToScreen,
    *,
    inputs: list[InPort] | None = None,
    output: OutPort | None = None,
) -> EngineReport:
    """The same run in this process, on any clock: for tests and for scripted drills that need not take their time.

    Raises
    ------
    PortError, InputFileError, TakeFileError
        As `start_engine`.
    """
    opened, sound = _open_ports(spec, clock) if inputs is None else (inputs, output)
    zero_ns = _zero(spec, clock)
    journal = None if spec.journal is None else _journal(spec, zero_ns, [port.name for port in opened], 2)
    return _loop(spec, clock, opened, sound, journal, screen, zero_ns, SCHEDULERS[2]).run()


def _open_ports(spec: EngineSpec, clock: Clock) -> tuple[list[InPort], OutPort | None]:
    """Open everything, or nothing."""
    if spec.loop:
        ear, voice = open_loop(spec.loop, clock.now_ns, api=spec.api)
        return [ear], voice
    opened: list[InPort] = []
    try:
        for name in spec.in_ports:  # one by one: those before a failing one must be closed
            script = script_of(name) if spec.script is None else spec.script
            port = open_input(name, clock, script=script, api=spec.api, virtual=spec.virtual)
            port.name = _own_name(port.name, [one.name for one in opened])
            opened.append(port)
        output = None
        if spec.make_output is not None:
            output = spec.make_output(spec.schedule, clock.now_ns)
        elif spec.out_port is not None:
            output = open_output(spec.out_port, clock, api=spec.api, virtual=spec.virtual)
    except HeeltapError:
        for port in opened:
            port.close()
        raise
    return opened, output


def _own_name(name: str, taken: list[str]) -> str:
    """The name of a port in the journal, where every port is told apart: of several alike the second is ``... #2``."""
    names = [name, *(f"{name} #{number}" for number in range(2, len(taken) + 2))]
    return next(one for one in names if one not in taken)


def _zero(spec: EngineSpec, clock: Clock) -> int:
    """When bar 1, beat 1 falls: the count-in starts after the delay."""
    first_us = int(spec.schedule.due_us[0]) if len(spec.schedule) else 0
    return clock.now_ns() + (spec.start_delay_us - min(first_us, 0)) * 1000


def _journal(spec: EngineSpec, zero_ns: int, ports: list[str], code: int) -> Journaling:
    """The open journal."""
    from heeltap.files.takes.journal import JournalWriter

    assert spec.journal is not None
    header: dict[str, object] = {**spec.header, "zero_ns": zero_ns, "ports": ports, "scheduler": SCHEDULERS[code]}
    return JournalWriter(spec.journal, header)


def _loop(
    spec: EngineSpec,
    clock: Clock,
    inputs: list[InPort],
    output: OutPort | None,
    journal: Journaling | None,
    screen: ToScreen,
    zero_ns: int,
    scheduler: str,
) -> EngineLoop:
    """The loop of a run."""
    return EngineLoop(
        spec.schedule,
        inputs,
        output,
        clock=clock,
        screen=screen,
        journal=journal,
        zero_ns=zero_ns,
        tail_us=spec.tail_us if spec.clock_input < 0 else _WITHOUT_END_US,
        reopen=partial(reopen_input, api=spec.api),
        reopen_output=partial(reopen_output, api=spec.api),
        silence=(STOP_CLOCK, *ALL_NOTES_OFF) if START in spec.schedule.kind else ALL_NOTES_OFF,
        scheduler=scheduler,
        clock_input=spec.clock_input,
        count_click=spec.count_click,
        mix=spec.mix,
    )
