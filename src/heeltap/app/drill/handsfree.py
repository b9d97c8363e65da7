"""Hear the inputs before a take, and wait for a pedal or pad: an engine that only listens.

Inside: `Hit`, `Listener`, `wait_for_press`.
"""

import threading
from collections.abc import Callable
from typing import NamedTuple

from heeltap.app.drill.run import FRAME_NS, Settings
from heeltap.clock import SystemClock
from heeltap.devices.computer_keys import key_message
from heeltap.devices.inputs import FAKE, KEYS_NAME
from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.engine.records import DIED, NOTE_ON
from heeltap.errors import HeeltapError
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.session.from_records import Presses
from heeltap.session.session import Press

__all__ = ["Hit", "Listener", "listening_spec", "wait_for_press"]

_DAY_US = 86_400_000_000
"""A wait ends after a day, whatever happens."""


def listening_spec(settings: Settings) -> EngineSpec:
    """An engine on the drill's inputs that plays nothing and keeps nothing."""
    return EngineSpec(
        Schedule(as_ints([]), (), (), _DAY_US),
        in_ports=settings.in_ports,
        script=settings.script,
        start_delay_us=0,
        virtual=settings.virtual,
        real_time=False,
    )


class Hit(NamedTuple):
    """A key or pad that was struck between two takes."""

    port: str
    pitch: int
    velocity: int
    channel: int
    """0-15 as on the wire."""
    at_ns: int
    """When, on the clock that all processes share."""


class Listener:
    """The inputs between two takes. `open` and `close` as often as you like; where there is no device, it does nothing."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.wants_key = False
        """Whether the next key that is struck is an answer; `key` holds it then."""
        self.key: int | None = None
        self._presses = Presses(settings.player.controls)
        self._engine: Engine | None = None
        self._opening: threading.Thread | None = None
        self._hits: list[Hit] = []
        self.problem = ""
        """Why the inputs could not be opened; empty when they were."""

    def open(self) -> None:
        """Begin to listen; returns at once, the ports take half a second."""
        devices = [name for name in self._settings.in_ports if name != KEYS_NAME and not name.startswith(FAKE)]
        if not (devices or self._settings.player.controls or self.wants_key) or self._opening is not None:
            return
        self._presses = Presses(self._settings.player.controls)  # a pedal let go meanwhile was not heard
        self._opening = threading.Thread(target=self._start, name="listener", daemon=True)
        self._opening.start()

    def poll(self) -> list[Press]:
        """The presses since the last call; empty while the ports are being opened."""
        if self._engine is None:
            return []
        found = []
        for record in self._engine.poll():
            if record.kind == DIED:
                self.problem = "the engine process ended unexpectedly"
            press = self._presses.take(record)
            if press is not None and press.actions:
                found.append(press)
            elif record.kind == NOTE_ON:
                if self.wants_key:
                    self.key, self.wants_key = record.number, False
                at_ns = self._engine.zero_ns + 1000 * record.at_us
                port = self._settings.in_ports[record.which]
                self._hits.append(Hit(port, record.number, record.value, record.channel, at_ns))
        return found

    def strike(self, key: str, at_ns: int) -> None:
        """Take up a key of the computer's keyboard, stamped by who read it; keys that are no pads do nothing."""
        message = key_message(key)
        if message is not None and KEYS_NAME in self._settings.in_ports:
            self._hits.append(Hit(KEYS_NAME, message[1], message[2], message[0] & 15, at_ns))

    def hits(self) -> list[Hit]:
        """What was struck since the last call, but for controls."""
        found, self._hits = self._hits, []
        return found

    def close(self) -> None:
        """Let go of the ports; returns when they are free."""
        if self._opening is not None:
            self._opening.join()
            self._opening = None
        if self._engine is not None:
            self._engine.stop()
            self._engine = None

    def _start(self) -> None:
        try:
            self._engine = start_engine(listening_spec(self._settings))
            self.problem = ""
        except HeeltapError as error:
            self.problem = str(error)


def wait_for_press(settings: Settings, interrupted: Callable[[], bool]) -> str:
    """The action that ended the wait: ``start``, ``repeat``, ``stop``; empty when the player or a fault ended it.

    Raises `PortError` when the inputs cannot be opened.
    """
    clock, listener = SystemClock(), Listener(settings)
    listener._engine = start_engine(listening_spec(settings))
    try:
        while not interrupted() and not listener.problem:
            for press in listener.poll():
                return next(action for action in ("start", "repeat", "stop") if action in press.actions)
            clock.sleep_until_ns(clock.now_ns() + FRAME_NS)
        return ""
    finally:
        listener.close()
