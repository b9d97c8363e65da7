"""One run of the engine, to its end or given up."""

import os
import signal
import threading
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.route.run_engine import run_engine
from heeltap.engine.process import EngineSpec
from heeltap.errors import PortError
from heeltap.files.takes.journal import read_journal
from heeltap.model.messages import Schedule


def a_spec(path: Path, clicks: int = 10) -> EngineSpec:
    """A tenth of a second between clicks, to a port that only keeps them."""
    due = 100_000 * np.arange(clicks)
    schedule = Schedule(due, (b"\x99\x4d\x60",) * clicks, ("click",) * clicks, int(due[-1]))
    return EngineSpec(schedule, out_port="fake:", journal=path, start_delay_us=50_000, tail_us=20_000)


@pytest.mark.live
def test_runs_to_its_end_and_says_how_far_it_is(tmp_path: Path) -> None:
    """The share grows to 1; the engine has ended and reported, its journal is whole."""
    shares: list[float] = []
    engine = run_engine(a_spec(tmp_path / "run.jsonl"), shares.append)

    assert shares == sorted(shares)
    assert 0.9 <= shares[-1] <= 1.0
    assert not engine.alive
    assert engine.report is not None
    assert 10 == engine.report.clicks
    assert read_journal(tmp_path / "run.jsonl").closed


@pytest.mark.live
def test_what_progress_raises_ends_the_run_in_order(tmp_path: Path) -> None:
    """A screen gives up by raising: the journal is closed, the exception arrives."""

    class GivenUp(Exception):
        pass

    def give_up(share: float) -> None:
        if share > 0:
            raise GivenUp

    with pytest.raises(GivenUp):
        run_engine(a_spec(tmp_path / "run.jsonl", 600), give_up)

    assert read_journal(tmp_path / "run.jsonl").closed


@pytest.mark.live
def test_ctrl_c_ends_the_run_in_order(tmp_path: Path) -> None:
    """As from a terminal, but to this process only: the journal is closed, `KeyboardInterrupt` arrives."""
    stop = threading.Timer(1.5, os.kill, (os.getpid(), signal.SIGINT))
    stop.start()

    with pytest.raises(KeyboardInterrupt):
        run_engine(a_spec(tmp_path / "run.jsonl", 600))

    assert read_journal(tmp_path / "run.jsonl").closed


@pytest.mark.live
def test_what_cannot_start_is_raised(tmp_path: Path) -> None:
    """A port that is not there; nothing runs."""
    spec = EngineSpec(Schedule(np.zeros(0, np.int64), (), (), 0), in_ports=("nobody has this port",), api="jack")

    with pytest.raises(PortError):
        run_engine(spec)
