"""Fixtures that every test may use: an isolated home, the outside data, and a seeded generator."""

import os
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[1]


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
