"""Fixtures that every test may use: an isolated home, the outside data, and a seeded generator.

Also what keeps the fast half fast: a test that starts a process is marked ``live`` (or slow, jack, bench), else it fails.
"""

import os
import subprocess
from collections.abc import Iterator, Sequence
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # on our small matrices further threads only wait for each other

import numpy as np
import pytest
from hypothesis import settings

from tests.makers import amounts

ROOT = Path(__file__).resolve().parents[1]

ASIDE = ("live", "slow", "jack", "bench")
"""Marks of the tests that a plain run leaves out."""


def pytest_configure(config: pytest.Config) -> None:
    """A run that takes the slow tests takes the whole of every simulation, too; hypothesis has one profile."""
    amounts.whole = "not slow" not in config.getoption("markexpr")
    # Without a deadline: a loaded machine is slow, not wrong.
    settings.register_profile("heeltap", deadline=None, max_examples=amounts.amount(100, fast=25))
    settings.load_profile("heeltap")


_LISTS_FONTS = "fc-list"
"""matplotlib runs it the first time that anybody on a machine draws a chart."""

_run = subprocess.Popen.__init__


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """No test of the fast half starts a process, in its fixtures neither."""
    with pytest.MonkeyPatch.context() as patch:
        if not any(item.get_closest_marker(name) for name in ASIDE):
            patch.setattr(BaseProcess, "start", _refuse)
            patch.setattr(subprocess.Popen, "__init__", _only_fonts)
        return (yield)


def _refuse(*_: object, **__: object) -> None:
    raise AssertionError("a test that starts a process is marked live (pytest.mark.live): it takes time of its own")


def _only_fonts(self: subprocess.Popen[bytes], args: Sequence[str], *more: Any, **named: Any) -> None:
    if Path(args[0]).name != _LISTS_FONTS:
        _refuse()
    _run(self, args, *more, **named)


def _outside(folder: str) -> Path:
    """Folder of data that is not part of the project; skips the test, saying so, where it is missing."""
    override = os.environ.get("HEELTAP_OUTSIDE_DATA")
    data = Path(override) if override else ROOT.parent / "shared" / "data"
    found = data if folder == "data" else data.parent / folder
    if not found.is_dir():
        pytest.skip(f"outside data {folder!r} is not on this machine (set HEELTAP_OUTSIDE_DATA)")
    return found


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test touches a real home folder or reads a user's settings."""
    monkeypatch.setenv("HEELTAP_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("NO_COLOR", raising=False)


@pytest.fixture(autouse=True)
def _no_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test clicks aloud because this machine has a sound card; those about sound say so themselves."""
    monkeypatch.setattr("heeltap.app.route.ports.audio_found", lambda: False)


@pytest.fixture
def outside_data() -> Path:
    """Published data sets: grooves, piano performances, tapping, duo, trios."""
    return _outside("data")


@pytest.fixture
def midi_cases() -> Path:
    """Damaged, odd and awkward MIDI files with what a good reader makes of them."""
    return _outside("midi-cases")


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator with a fixed seed."""
    return np.random.default_rng(20_260_101)
