"""Learn pads from a real device: an engine that listens, the pure step of `heeltap.session.pad_learning`, and the settings.

Inside: `learn_pads`, `keep_pads`.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from heeltap.app.drill.run import FRAME_NS
from heeltap.app.route.ports import stable_ports
from heeltap.clock import Clock, SystemClock
from heeltap.engine.process import EngineSpec, start_engine
from heeltap.engine.records import DIED, DONE, NOTE_ON
from heeltap.errors import PortError, sentence
from heeltap.files.settings import PadSet, read_settings, with_pad_set, write_settings
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.session.pad_learning import Effect, Hit, Skip, Undo, begin_learning, learn

__all__ = ["keep_pads", "learn_pads"]

_HOUR_US = 3_600_000_000


def learn_pads(
    in_port: str,
    roles: Sequence[str],
    tell: Callable[[Effect], None],
    *,
    asked: Callable[[], Skip | Undo | None] = lambda: None,
    interrupted: Callable[[], bool] = lambda: False,
    script: Schedule | None = None,
    clock: Clock | None = None,
) -> Mapping[str, int]:
    """The key of each role, as the player hits the pads; empty when the player breaks off.

    Parameters
    ----------
    in_port : str
        As a drill opens it.
    roles : sequence of str
        What to ask for, in order.
    tell : callable
        Told every question and every answer.
    asked, interrupted : callable
        Whether the player skips a role or wants the one before again; whether to break off.
    script
        What a ``fake:`` port plays.

    Raises
    ------
    PortError
        The port cannot be opened, or went.
    """
    waiting = SystemClock() if clock is None else clock
    silent = Schedule(as_ints([]), (), (), _HOUR_US)
    spec = EngineSpec(silent, (in_port,), script=script, start_delay_us=0, real_time=False)
    state, effects = begin_learning(roles)
    with start_engine(spec) as engine:
        while True:
            for effect in effects:
                tell(effect)
            if state.over:
                return dict(state.keys)
            if interrupted():
                return {}
            waiting.sleep_until_ns(waiting.now_ns() + FRAME_NS)
            wish = asked()
            events: list[Hit | Skip | Undo] = [] if wish is None else [wish]
            for record in engine.poll():
                if record.kind in (DIED, DONE):
                    raise PortError(sentence(f"input '{in_port}'", "it went while pads were learned", "a device"))
                if record.kind == NOTE_ON:
                    events.append(Hit(record.at_us, record.number, record.value))
            effects = ()
            for event in events:
                state, new = learn(state, event)
                effects += new


def keep_pads(in_port: str, keys: Mapping[str, int], retrigger_ms: Mapping[str, float] | None = None) -> Path:
    """Keep the pads of a port in the settings, in place of its earlier ones; raises `SetFileError`."""
    pads = PadSet(stable_ports(in_port, None)[0], dict(keys), dict(retrigger_ms or {}))
    return write_settings(with_pad_set(read_settings(), pads))
