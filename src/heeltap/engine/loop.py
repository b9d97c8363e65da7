"""The engine's loop: one thread that sends what is due, drains the inputs, keeps the journal and tells the screen.

It knows neither processes nor devices: ports, clock, journal and the way to the screen are handed in, so a whole drill
runs in a test on a clock that only jumps. Whatever ends it, every note is silenced and the journal is closed.

Inside: `EngineLoop`.
"""

import contextlib
from collections.abc import Callable, Sequence

from heeltap.clock import Clock
from heeltap.devices.computer_keys import KeysInPort
from heeltap.devices.protocols import InPort, OutPort
from heeltap.engine.deadlines import LATE_US, SKIP_US, Pulse
from heeltap.engine.faults import FaultWatch
from heeltap.engine.input_state import InputState
from heeltap.engine.interfaces import EngineReport, Journaling, ToScreen
from heeltap.engine.mixing import Mixing
from heeltap.engine.records import (
    ALIVE,
    CLICK,
    COUNT_IN,
    DONE,
    ENDED,
    GAP,
    KEY,
    MIX,
    MOVED,
    NOT_SENT_US,
    OUT_BACK,
    OUT_LOST,
    PAUSE,
    PAUSED,
    PLAYING,
    PORT_BACK,
    PORT_LOST,
    RESUME,
    STATE,
    STOP,
    STOPPED,
    Record,
)
from heeltap.engine.resuming import Resumption, resumed_schedule
from heeltap.engine.stamping import Assembler, LiveStamper
from heeltap.engine.telling import told_of
from heeltap.model.messages import UNHEARD, Schedule, is_note_on
from heeltap.model.mix import Mix, is_part

__all__ = ["EngineLoop"]

_TURN_NS = 1_000_000
"""Longest sleep: how late a message may be drained. Its stamp does not depend on it."""

_CALM_NS = 20_000_000
"""Slow things (asking for the port list, opening a port) are done only where the next click is at least so far away."""

_CHECK_NS = 1_000_000_000
"""How often the devices are asked whether they are still there, and a lost one whether it is back."""

_FLUSH_NS = 250_000_000
"""How often the journal is handed to the system (what a kill may cost), and the screen is told that we are alive."""

_BREATH_NS = 100_000_000
"""From the key that resumes to the first click of the count."""

_STOOD_STILL_NS = 500_000_000
"""A turn this long means that the process was stopped (a suspended terminal, a sleeping machine): no input, not no
playing."""


class EngineLoop:
    """One run: from the count-in to the end of the last bar, or until somebody stops it."""

    def __init__(
        self,
        schedule: Schedule,
        inputs: Sequence[InPort],
        output: OutPort | None,
        *,
        clock: Clock,
        screen: ToScreen,
        journal: Journaling | None = None,
        zero_ns: int,
        tail_us: int = 500_000,
        reopen: Callable[[InPort], InPort | None],
        reopen_output: Callable[[OutPort], OutPort | None],
        silence: Sequence[bytes] = (),
        scheduler: str = "",
        clock_input: int = -1,
        count_click: tuple[bytes, bytes] | None = None,
        mix: Mix | None = None,
    ) -> None:
        """Nothing happens until `run`.

        Parameters
        ----------
        schedule : Schedule
            What to send, and when the last bar ends.
        inputs, output
            Open ports; ``output`` None plays silently, the clicks are recorded as sent all the same.
        clock, screen, journal
            The world.
        zero_ns : int
            When bar 1, beat 1 falls.
        tail_us : int
            How long to listen after the last bar.
        reopen, reopen_output : callable
            Given a lost port whose device is listed again, a port that works, or None.
        silence : sequence of bytes
            Sent at the end, whatever ended the run.
        scheduler : str
            For the report.
        clock_input : int
            Index of the input whose MIDI clock the screen is told of; -1 for none.
        count_click : pair of bytes, optional
            What counts in again after a pause: the note-on of the one, and of every other beat.
        mix : Mix, optional
            How loud each voice is at the beginning.
        """
        self._mixing = Mixing(mix)
        self._output, self._clock = output, clock
        self._screen, self._journal = screen, journal
        self._inputs = [InputState(port, i) for i, port in enumerate(inputs)]
        self._faults = FaultWatch(screen, journal)
        self._zero_ns, self._silence = zero_ns, silence
        self._reopen, self._reopen_output = reopen, reopen_output
        self._silent = False
        self._playing_us = 0
        self._whole, self._tail_us, self._count_click = schedule, tail_us, count_click
        self._plan_out(schedule)
        self._stopping = self._paused = False
        self._state = -1
        self._flush_ns = self._check_ns = 0
        self._messages = self._clicks = self._late = self._unsent = self._worst_us = 0
        self._scheduler, self._clock_input = scheduler, clock_input

    def _plan_out(self, schedule: Schedule) -> None:
        """From here on this is what is sent, counted from the present zero."""
        self._schedule, self._due_us = schedule, schedule.due_us.tolist()
        self._end_ns = self._zero_ns + (schedule.end_us + self._tail_us) * 1000
        self._pulse = Pulse(schedule.due_us, self._zero_ns)
        heard = [kind not in UNHEARD for kind in schedule.kind]
        self._heard = Pulse(schedule.due_us[heard], self._zero_ns)

    def stop(self) -> None:
        """End after this turn; safe to call from a signal handler."""
        self._stopping = True

    def run(self) -> EngineReport:
        """Play to the end; notes are silenced and the journal is closed however it ends."""
        fault = ""
        try:
            self._play()
        except OSError as error:  # a device that fails in the middle: keep the take, say what happened
            fault = " ".join(str(error).split())
        finally:
            self._finish()
        written = "" if self._journal is None or self._journal.fault is None else self._journal.fault
        report = self._report(written, fault)
        done = Record(DONE, which=self._clicks, value=min(self._late, 255), at_us=self._us(self._clock.now_ns()))
        self._screen.send(done._replace(other_us=self._messages))
        self._screen.flush()
        return report

    def _play(self) -> None:
        clock = self._clock
        turn_ns = self._check_ns = self._flush_ns = clock.now_ns()
        if self._output is not None:
            self._output.mix(self._mixing.levels)
            self._output.begin(self._zero_ns)
        for source in self._inputs:
            source.port.begin(self._zero_ns)
            source.empty_ns = source.sign_ns = turn_ns
        self._faults.begin([source.port for source in self._inputs])
        while not self._stopping:
            before_ns, turn_ns = turn_ns, clock.now_ns()
            if turn_ns - before_ns > _STOOD_STILL_NS:
                self._stood_still(before_ns, turn_ns)
            if not self._paused:
                self._send_due(turn_ns)
            self._obey()
            for source in self._inputs:
                self._drain(source)
            self._tell_state(turn_ns)
            next_ns = self._pulse.next_ns
            self._heard.take(turn_ns)
            self._chores(turn_ns, self._heard.next_ns)
            self._screen.flush()
            if self._paused:
                clock.sleep_until_ns(turn_ns + _TURN_NS)
                continue
            if turn_ns >= self._end_ns:
                return
            rest_ns = min(turn_ns + _TURN_NS, self._end_ns)
            # A click within the next turn is waited for exactly; what arrives meanwhile is drained right after it.
            if next_ns is not None and next_ns < rest_ns + _TURN_NS // 2:
                clock.wait_until_ns(next_ns)
            else:
                clock.sleep_until_ns(rest_ns)

    def _send_due(self, now_ns: int) -> None:
        """Send everything due; clicks that missed their moment by far are left out."""
        for i in self._pulse.take(now_ns):
            kind = self._schedule.kind[i]
            message = self._mixing.as_sent(kind, self._schedule.messages[i])
            if message is None:  # its voice is silent now: nothing is due
                continue
            unheard = kind in UNHEARD or (is_part(kind) and not is_note_on(message))
            due_us = self._due_us[i]
            sent_ns = self._clock.now_ns()
            late_us = self._us(sent_ns) - due_us
            # The first click of all is what a player comes in by: late is better than never.
            skip = self._silent or (late_us > SKIP_US and not unheard and self._clicks > 0)
            if not skip and self._output is not None:
                self._output.send(message)
                late_us += max(0, self._output.lag_us)
            if not unheard and not is_part(kind):
                sent_us = NOT_SENT_US if self._silent else due_us + late_us
                self._keep_click(i, message, due_us, sent_us, skip)

    def _keep_click(self, index: int, message: bytes, due_us: int, sent_us: int, skipped: bool) -> None:
        """Count a click, and write and tell it."""
        late_us = sent_us - due_us
        if skipped:
            self._unsent += 1
        else:
            self._late += late_us > LATE_US
            self._clicks += 1
            self._worst_us = max(self._worst_us, late_us)
        if self._journal is not None:
            self._journal.click(index, due_us, sent_us, message[1] if len(message) > 1 else -1)
        velocity = message[2] if len(message) > 2 else 0
        self._screen.send(Record(CLICK, message[0] & 15, velocity, int(skipped), index, at_us=due_us, other_us=sent_us))

    def _obey(self) -> None:
        """Do what the screen asks; end when it is gone."""
        for order in self._screen.receive():
            if order.kind == STOP:
                self._stopping = True
            elif order.kind == KEY:
                message = bytes((0x90 | order.channel, order.number, order.value))
                for source in self._inputs:
                    if isinstance(source.port, KeysInPort):
                        source.port.feed(message, order.at_us)
            elif order.kind == MIX:
                self._mix(order)
            elif order.kind == PAUSE:
                self._pause()
            elif order.kind == RESUME and self._paused:
                self._resume(order)
        if self._screen.closed_by_peer:
            self._stopping = True

    def _mix(self, order: Record) -> None:
        """Let a voice sound louder or softer from now on."""
        self._mixing.take([order])
        if self._output is not None:
            self._output.mix(self._mixing.levels)

    def _pause(self) -> None:
        """Be silent, and send nothing until the player resumes."""
        now_ns = self._clock.now_ns()
        self._paused, self._state = True, PAUSED
        self._silence_now()
        if self._journal is not None:
            self._journal.gap("paused", now_ns)
        self._screen.send(Record(STATE, which=PAUSED, at_us=self._us(now_ns)))

    def _resume(self, order: Record) -> None:
        """Count in, and go on from a bar line: bar 1, beat 1 falls at another moment from now on."""
        now_ns = self._clock.now_ns()
        at = Resumption(order.at_us, order.which, order.value, order.number)
        self._zero_ns = now_ns + _BREATH_NS + (at.count_us - at.from_us) * 1000
        self._plan_out(resumed_schedule(self._whole, at, self._count_click))
        self._paused, self._state = False, COUNT_IN
        self._playing_us = at.from_us
        if self._journal is not None:
            self._journal.moved(now_ns, self._zero_ns, order.other_us)
        for source in self._inputs:
            source.port.begin(self._zero_ns)
        if self._output is not None:
            self._output.begin(self._zero_ns, self._schedule)
        self._screen.send(Record(MOVED, at_us=at.from_us, other_us=self._zero_ns))

    def _drain(self, source: InputState) -> None:
        """Take everything that waits at one input."""
        if source.lost:
            return
        port, now_ns = source.port, self._clock.now_ns
        while (got := port.poll()) is not None:
            data, delta_s = got
            source.sign_ns = now_ns()
            arrival_ns = now_ns() if port.stamped_ns is None else port.stamped_ns
            self._messages += 1
            if self._journal is not None:
                self._journal.message(arrival_ns, delta_s, data, source.name)
            stamp_ns = arrival_ns
            if port.stamped_ns is None:
                stamp_ns = source.stamper.stamp(arrival_ns, delta_s, since_ns=source.empty_ns)
            for message in source.assembler.feed(data):
                self._tell_message(message, source.index, stamp_ns, arrival_ns)
        source.empty_ns = now_ns()

    def _tell_message(self, message: bytes, port: int, stamp_ns: int, arrival_ns: int) -> None:
        """Tell the screen of a message."""
        waited_us, clock = (arrival_ns - stamp_ns) // 1000, port == self._clock_input
        for record in told_of(message, port, self._us(stamp_ns), waited_us, clock=clock):
            self._screen.send(record)

    def _chores(self, now_ns: int, next_ns: int | None) -> None:
        """Notice faults; flush the journal; look after lost devices, far from any click only."""
        self._faults.look([source.port for source in self._inputs], now_ns, self._us(now_ns))
        if now_ns - self._flush_ns >= _FLUSH_NS:
            self._flush_ns = now_ns
            self._screen.send(Record(ALIVE, at_us=self._us(now_ns)))
            if self._journal is not None:
                self._journal.flush(now_ns)
        if now_ns - self._check_ns >= _CHECK_NS and (next_ns is None or next_ns - now_ns > _CALM_NS):
            self._check_ns = now_ns
            self._look_after_output()
            for source in self._inputs:
                self._look_after(source, now_ns)

    def _look_after_output(self) -> None:
        """Notice that the click's device went, and take it back when it returns."""
        if self._output is None:
            return
        if not self._silent:
            self._silent = not self._output.connected()
            if self._silent:
                self._screen.send(Record(OUT_LOST, at_us=self._us(self._clock.now_ns())))
        elif self._output.returned() and (port := self._reopen_output(self._output)) is not None:
            self._output, self._silent = port, False
            self._screen.send(Record(OUT_BACK, at_us=self._us(self._clock.now_ns())))

    def _look_after(self, source: InputState, now_ns: int) -> None:
        """Notice a device that went, and take it back under its name when it returns."""
        if not source.lost:
            if source.port.connected():
                source.sign_ns = now_ns
            else:
                source.lost = True
                self._note_gap(PORT_LOST, "lost", source.index, source.sign_ns)
        elif source.port.returned() and (port := self._reopen(source.port)) is not None:
            source.port, source.stamper, source.assembler = port, LiveStamper(), Assembler()
            source.lost, source.empty_ns, source.sign_ns = False, now_ns, now_ns
            port.begin(self._zero_ns)
            self._note_gap(PORT_BACK, "back", source.index, now_ns)

    def _note_gap(self, kind: int, word: str, index: int, at_ns: int) -> None:
        """Keep and tell that an input went or came back."""
        if self._journal is not None:
            self._journal.gap(word, at_ns, self._inputs[index].name)
        self._screen.send(Record(kind, which=index, at_us=self._us(at_ns)))

    def _stood_still(self, from_ns: int, to_ns: int) -> None:
        """Keep and tell that the process stood still: what was not played then was not missed."""
        if self._journal is not None:
            self._journal.gap("pause", from_ns)
            self._journal.gap("resume", to_ns)
        self._screen.send(Record(GAP, at_us=self._us(from_ns), other_us=self._us(to_ns)))

    def _tell_state(self, now_ns: int) -> None:
        """Tell of count-in and playing as they begin."""
        if self._paused:
            return
        state = COUNT_IN if self._us(now_ns) < self._playing_us else PLAYING
        if state != self._state:
            self._state = state
            self._screen.send(Record(STATE, which=state, at_us=self._us(now_ns)))

    def _finish(self) -> None:
        """Silence everything, close the journal and the ports; no step keeps another from being tried."""
        state = STOPPED if self._stopping else ENDED
        self._screen.send(Record(STATE, which=state, at_us=self._us(self._clock.now_ns())))
        self._silence_now()
        if self._journal is not None:
            self._journal.close()
        for source in self._inputs:
            source.port.close()
        if self._output is not None:
            self._output.close()

    def _silence_now(self) -> None:
        """Have every note end."""
        with contextlib.suppress(OSError):  # the output itself may be what broke
            if self._output is not None:
                for message in self._silence:
                    self._output.send(message)

    def _report(self, unwritten: str, fault: str) -> EngineReport:
        sent = (self._messages, self._clicks, self._late, self._worst_us)
        lost = (self._screen.dropped, self._unsent, self._faults.dropped)
        return EngineReport(self._scheduler, *sent, *lost, unwritten, fault)

    def _us(self, at_ns: int) -> int:
        """A moment in microseconds from bar 1, beat 1, rounded half up."""
        return (at_ns - self._zero_ns + 500) // 1000
