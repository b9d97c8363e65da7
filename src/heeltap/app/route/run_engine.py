"""Run the engine once, to its end, and give back its journal.

Inside: `run_engine`, `Progress`.
"""

from collections.abc import Callable

from heeltap.app.drill.run import FRAME_NS, interrupts
from heeltap.clock import SystemClock
from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.engine.records import CLICK

__all__ = ["Progress", "run_engine"]

Progress = Callable[[float], None]
"""Is told the share that is done, 0-1."""


def run_engine(spec: EngineSpec, progress: Progress | None = None) -> Engine:
    """Run the engine to its end and return it, ended.

    Raises
    ------
    PortError, InputFileError, TakeFileError
        As `heeltap.engine.process.start_engine`.
    KeyboardInterrupt
        Ctrl-C; the engine has ended in order.

    Notes
    -----
    What ``progress`` raises ends the engine in order too, and goes on to the caller: a screen's way to give up.
    """
    clock = SystemClock()
    clicks = sum(kind != "off" for kind in spec.schedule.kind)
    done = 0
    with interrupts() as interrupted, start_engine(spec) as engine:
        while engine.alive and not interrupted.is_set():
            done += sum(record.kind == CLICK for record in engine.poll())
            if progress is not None:
                progress(min(done / max(clicks, 1), 1.0))
            clock.sleep_until_ns(clock.now_ns() + FRAME_NS)
        engine.stop()
    if interrupted.is_set():
        raise KeyboardInterrupt
    return engine
