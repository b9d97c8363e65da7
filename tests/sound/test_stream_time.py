"""When a sample of a stream is heard."""

import numpy as np
import pytest

from heeltap.sound.stream_time import StreamTime

RATE = 48_000
BLOCK = 128


def fed(
    seconds: float,
    rng: np.random.Generator,
    *,
    ppm: float = 0.0,
    hold_ms: float = 0.0,
    hole_at: float | None = None,
    hole_s: float = 0.1,
) -> tuple[StreamTime, float]:
    """A stream whose sample 0 is heard at 1 s, its questions late by up to 1 ms and now and then by a hold-up; and when
    its last block was truly heard, ns."""
    time = StreamTime(RATE)
    lost_s = 0.0
    true_ns = 0.0
    for i in range(round(seconds * RATE / BLOCK)):
        if hole_at is not None and i * BLOCK / RATE >= hole_at:
            lost_s = hole_s
        true_ns = 1e9 + (i * BLOCK / RATE * (1 - ppm * 1e-6) + lost_s) * 1e9
        late_ms = rng.exponential(0.1) + (hold_ms if rng.random() < 0.01 else 0.0)
        time.hear(i * BLOCK, round(true_ns - 5e6 + late_ms * 1e6), 5e6)
    return time, true_ns - (i * BLOCK / RATE) * 1e9


def test_late_questions_do_not_move_the_stream(rng: np.random.Generator) -> None:
    """With questions late by 0.1 ms and hold-ups of 15 ms the start is known to 0.02 ms."""
    time, start_ns = fed(20, rng, hold_ms=15)

    assert start_ns == pytest.approx(time.start_ns, abs=20_000)
    assert 0 == time.restarts


@pytest.mark.parametrize("ppm", [-100.0, 50.0, 100.0])
def test_a_sound_card_of_another_speed_is_followed(ppm: float, rng: np.random.Generator) -> None:
    """At 100 ppm the place is right to 1 ms plus the window's drift."""
    time, start_ns = fed(30, rng, ppm=ppm)

    assert start_ns == pytest.approx(time.start_ns, abs=1_050_000)


@pytest.mark.parametrize("hole_s", [0.0027, 0.011, 0.1])
def test_a_device_that_stood_still_is_noticed(hole_s: float, rng: np.random.Generator) -> None:
    """A hole of one block, of 11 and of 100 ms: half a second later the stream is placed anew."""
    time, start_ns = fed(10, rng, hold_ms=15, hole_at=5, hole_s=hole_s)

    assert 1 == time.restarts
    assert start_ns == pytest.approx(time.start_ns, abs=20_000)
