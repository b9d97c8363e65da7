"""The click as samples."""

import wave
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.practice.make_exercise import make_exercise, write_exercise
from heeltap.model.messages import Schedule
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import ClickSound, click_schedule
from heeltap.sound.render import CEILING, RATE_HZ, Mixer, burst, render, wav_bytes, wav_parts


def a_schedule(bpm: float = 133.0, bars: int = 3) -> Schedule:
    """Clicks at a tempo that falls on no sample."""
    return click_schedule(steady_tempo(bpm), steady_metre(), bars)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_every_click_begins_at_its_own_sample(rate_hz: int) -> None:
    """The first sample of each click is round(due * rate), and there is silence before it."""
    schedule = a_schedule()
    wave, zero = render(schedule, rate_hz)
    due = [at for at, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind != "off"]
    sound = np.flatnonzero(wave)
    begins = sound[np.diff(sound, prepend=-10_000) > 1_000] - zero

    assert [round(at * rate_hz / 1e6) for at in due] == begins.tolist()


@pytest.mark.parametrize("size", [1, 16, 128, 1_000, 4_096])
def test_blocks_of_any_size_are_the_same_samples(size: int) -> None:
    """To the last bit, with sounds that overlap."""
    mixer = Mixer(click_schedule(steady_tempo(300), steady_metre(), 1, sound=ClickSound(46, 49)), 48_000)
    first, count = -2_000, 20_480
    whole = mixer.block(first, count)
    pieces = [mixer.block(at, min(size, first + count - at)) for at in range(first, first + count, size)]

    assert np.array_equal(whole, np.concatenate(pieces))
    assert np.any(whole)


def test_loudness_follows_velocity_and_never_leaves_the_scale() -> None:
    """The one at 110, other beats at 77; a pile of strokes stays 6 dB below full scale."""
    wave, zero = render(a_schedule(120, 1), 48_000)
    pile = Mixer(Schedule(np.zeros(9, np.int64), (b"\x99\x31\x7f",) * 9, ("drum",) * 9, 0), 48_000).block(0, 100)

    assert 77 / 110 == pytest.approx(abs(wave[zero + 24_000]) / abs(wave[zero]), abs=1e-9)
    assert 0.49 < np.max(np.abs(pile)) <= CEILING


@pytest.mark.parametrize("key", [33, 34, 36, 37, 38, 42, 46, 49, 51, 76, 77, 0])
def test_every_sound_begins_loud_and_dies_away(key: int) -> None:
    """Its first sample is at least half of its loudest; its last tenth is under 1 %."""
    wave = burst(key, 48_000, np.random.default_rng(1))

    assert abs(wave[0]) >= 0.5 * np.max(np.abs(wave))
    assert np.max(np.abs(wave[-wave.size // 10 :])) < 0.01


def test_click_file_has_each_click_at_its_sample(tmp_path: Path) -> None:
    """An exercise as a WAV file: readable by anybody, a bar of count-in first, the clicks where they are due."""
    exercise = make_exercise("anchor", 1, tempo_bpm=97.0, bars=4)
    path = tmp_path / "click.wav"
    write_exercise(exercise, path)
    with wave.open(str(path)) as file:
        shape = (file.getnchannels(), file.getframerate())
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    sound = np.flatnonzero(samples)
    begins = sound[np.diff(sound, prepend=-10_000) > 2_000]
    beat_us = round(60e6 / 97)

    assert (1, 48_000) == shape
    assert [round(k * beat_us * 0.048) for k in range(-4, 16)] == (begins - round(4 * beat_us * 0.048)).tolist()


def test_a_file_in_pieces_is_the_whole_file() -> None:
    """To the last byte, and every piece is a second or less."""
    schedule = a_schedule(bars=8)
    pieces = list(wav_parts(schedule, RATE_HZ))

    assert wav_bytes(render(schedule, RATE_HZ)[0], RATE_HZ) == b"".join(pieces)
    assert 2 * RATE_HZ == max(map(len, pieces))
