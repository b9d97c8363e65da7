"""The self-test: play through a loop with the real engine, measure what comes back, keep the result.

Inside: `selftest`, `keep`, `load_average`, `PORTS`.
"""

import os
import tempfile
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from heeltap.app.route.ports import stable_ports
from heeltap.app.route.run_engine import Progress, run_engine
from heeltap.clock import wall_now
from heeltap.devices.loopback import INSIDE, VIRTUAL
from heeltap.engine.process import EngineSpec
from heeltap.engine.scheduling import REAL_TIME, SCHEDULERS
from heeltap.errors import PortError, sentence
from heeltap.files.calibrations import Selftested, keep_selftest
from heeltap.files.takes.journal import read_journal
from heeltap.gear.selftest import NOTES, LoopReport, loop_schedule, measure_loop, summary

__all__ = ["PORTS", "keep", "load_average", "selftest"]

PORTS = "ports"
"""A loop between two ports that were named."""


def selftest(
    in_port: str | None = None,
    out_port: str | None = None,
    *,
    rng: np.random.Generator,
    notes: int = NOTES,
    progress: Progress | None = None,
) -> LoopReport:
    """Play through a loop and measure what comes back.

    Parameters
    ----------
    in_port, out_port : str, optional
        Both ends of a cable; without them a virtual port, or where the system makes none, inside the engine only.
    rng : numpy.random.Generator
        The moments of the notes.
    notes : int
        How many; 800 take 15 s.
    progress : callable, optional

    Raises
    ------
    PortError
        A port cannot be opened, or only one of the two was named.
    KeyboardInterrupt
        Ctrl-C; everything is closed.
    """
    if (in_port is None) != (out_port is None):
        raise PortError(sentence("self-test", "one port only", "--in and --out, or neither", "a loop has two ends"))
    schedule = loop_schedule(rng, notes)
    if in_port is not None and out_port is not None:
        in_port, out_port = stable_ports(in_port, out_port)
        return _measured(EngineSpec(schedule, (in_port,), out_port), PORTS, in_port, out_port, progress)
    try:
        return _measured(EngineSpec(schedule, loop=VIRTUAL), VIRTUAL, VIRTUAL, VIRTUAL, progress)
    except PortError:  # no MIDI system here, or one without virtual ports
        return _measured(EngineSpec(schedule, loop=INSIDE), INSIDE, INSIDE, INSIDE, progress)


def _measured(spec: EngineSpec, loop: str, in_port: str, out_port: str, progress: Progress | None) -> LoopReport:
    """Run the engine and read its journal."""
    with tempfile.TemporaryDirectory(prefix="heeltap-") as folder:
        journal = Path(folder) / "loop.jsonl"
        engine = run_engine(replace(spec, journal=journal, tail_us=1_000_000), progress)
        load = load_average()
        report = engine.report
        fault = "the engine ended unexpectedly" if report is None else report.fault
        return measure_loop(
            read_journal(journal),
            loop=loop,
            in_port=in_port,
            out_port=out_port,
            scheduler=engine.scheduler,
            real_time=engine.scheduler == SCHEDULERS[REAL_TIME],
            load=load,
            fault=fault,
        )


def load_average() -> float | None:
    """Processes that wanted to run, average of the last minute; None where the system does not say."""
    try:
        return os.getloadavg()[0]
    except (AttributeError, OSError):
        return None


def keep(report: LoopReport) -> Path:
    """Keep what was measured for the takes to come; the file. Raises `StoreError`."""
    return keep_selftest(
        Selftested(
            in_port=report.in_port,
            out_port=report.out_port,
            loop=report.loop,
            summary=summary(report),
            trusted=report.trusted,
            stamp_p99_ms=0.0 if report.stamp_ms is None else report.stamp_ms.p99,
            click_p99_ms=0.0 if report.late_ms is None else report.late_ms.p99,
            date=wall_now().isoformat(timespec="seconds"),
            report=asdict(report),
        )
    )
