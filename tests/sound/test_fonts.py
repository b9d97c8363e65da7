"""Real instruments from a sound font: each stroke at its sample, nothing beyond the ceiling, and clear words without one."""

import io
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

from heeltap.errors import InputFileError
from heeltap.model.notes import make_notes
from heeltap.sound.fonts import font_parts, installed_font
from heeltap.sound.played import played_schedule
from heeltap.sound.render import CEILING, RATE_HZ

FONT = installed_font()

needs_font = pytest.mark.skipif(FONT is None, reason="the system has no sound font (Debian: timgm6mb-soundfont)")


def samples_of(at_us: list[int], channel: int, key: int) -> np.ndarray:
    """Strokes of one key, heard."""
    pytest.importorskip("tinysoundfont", reason="heeltap[sounds] is not installed")
    notes = make_notes(
        at_us, [key] * len(at_us), [120] * len(at_us), channel=channel, duration_us=[100_000] * len(at_us)
    )
    with wave.open(
        io.BytesIO(b"".join(font_parts(played_schedule(notes, 3_000_000), FONT or Path(), RATE_HZ)))
    ) as file:
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32767


@needs_font
@pytest.mark.parametrize(("channel", "key"), [(9, 38), (9, 36), (0, 60), (0, 84)])
def test_every_stroke_speaks_as_soon_as_the_others(channel: int, key: int) -> None:
    """Whatever the instrument needs to speak, it is the same for each stroke to a millisecond, and at most 5 ms."""
    at_us = [0, 503_123, 1_007_777, 1_511_111, 2_019_998]
    samples = samples_of(at_us, channel, key)
    speaks = []
    for at in at_us:
        begin = round(at * RATE_HZ / 1e6)
        piece = np.abs(samples[begin : begin + RATE_HZ // 10])
        before = np.abs(samples[max(begin - 96, 0) : begin]).max(initial=0.0)
        speaks.append(int(np.flatnonzero(piece > before + 0.02)[0]) / RATE_HZ * 1000)

    assert max(speaks[1:]) <= 5.0
    assert np.ptp(speaks[1:]) <= 1.0
    assert np.max(np.abs(samples)) <= CEILING


def test_what_is_missing_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No library: how to install it. A file that is no font: what was expected."""
    schedule = played_schedule(make_notes([0], [60], [90]), 100_000)
    other = tmp_path / "song.sf2"
    other.write_bytes(b"MThd")
    if "tinysoundfont" in sys.modules or FONT is not None:
        pytest.importorskip("tinysoundfont", reason="heeltap[sounds] is not installed")
        with pytest.raises(InputFileError, match="cannot be read as a sound font"):
            list(font_parts(schedule, other, RATE_HZ))
    monkeypatch.setitem(sys.modules, "tinysoundfont", None)
    with pytest.raises(InputFileError, match=r"pip install 'heeltap\[sounds\]'"):
        list(font_parts(schedule, other, RATE_HZ))
