"""Clicks and knocks in simulated recordings, whose delay is known."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.gear.delay import Declined, Delay
from heeltap.gear.microphone import NEEDED, microphone_delay
from tests.makers.recordings import Scene, a_click


def found(scene: Scene, *, known: bool = False) -> Delay | Declined:
    """What the recording of a scene says."""
    audio, rate_hz, sent, stamps = scene.record()
    return microphone_delay(audio, rate_hz, sent, stamps, click_sound=a_click(rate_hz) if known else None)


def error_ms(scene: Scene, *, known: bool = False) -> float:
    """How far the delay that is found lies from the true one."""
    delay = found(scene, known=known)
    assert isinstance(delay, Delay), delay
    return delay.delay_ms - scene.delay_ms


def anywhere(seed: int) -> Scene:
    """A scene with delays, latencies and clocks at random."""
    rng = np.random.default_rng(seed)
    return Scene(
        output_ms=rng.uniform(0, 150),
        input_ms=rng.uniform(0.5, 10),
        microphone_ms=rng.uniform(0, 300),
        drift=rng.normal(0, 60e-6),
        seed=seed,
    )


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_delay_to_half_a_millisecond_at_20_db(seed: int, known: bool) -> None:
    """Whatever the delays, the microphone's latency and its clock: within 0.5 ms, the click known or not."""
    assert abs(error_ms(anywhere(seed), known=known)) < 0.5


@pytest.mark.slow
@pytest.mark.parametrize("known", [True, False])
def test_interval_covers_a_hundred_recordings(known: bool) -> None:
    """In a hundred recordings no error exceeds 0.5 ms, and the mean error is below 0.1 ms."""
    errors = np.array([error_ms(anywhere(seed), known=known) for seed in range(100)])

    assert np.abs(errors).max() < 0.5
    assert abs(errors.mean()) < 0.1


@pytest.mark.parametrize(
    "change",
    [
        {"bangs": 40},
        {"room": 2.0},
        {"hum": 1.0},
        {"rate_hz": 44_100.0},
        {"drift": 3e-4},
        {"microphone_ms": -150.0},
        {"input_ms": -40.0},
        {"clicks": 18},
        {"drift": 2e-4, "knocks": 14},
    ],
)
def test_delay_in_awkward_rooms(change: dict[str, float]) -> None:
    """Other noises, echoes, hum, another rate, a bad clock, a late start, a slow module, few knocks: still 0.5 ms."""
    assert abs(error_ms(replace(Scene(seed=3), **change))) < 0.5


def test_microphone_falls_out() -> None:
    """The same scene through a microphone that is 200 ms slower gives the same delay."""
    quick, slow = (error_ms(Scene(microphone_ms=at)) for at in (10.0, 210.0))

    assert abs(quick - slow) < 0.1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"knock_gain": 0.0}, "cannot hear the knocks"),
        ({"on_the_click": True}, "knock between the clicks"),
        ({"same_sound": True}, "sound alike"),
        ({"echo": 1.0}, "hears each knock twice"),
        ({"gain": 1.0}, "clipped in"),
        ({"knocks": 8}, "8 knocks are too few"),
        ({"clicks": 8, "knocks": 7}, "8 clicks are too few"),
        ({"stamp_jitter_ms": 6.0}, "hears the knocks, but their spread"),
        ({"click_jitter_ms": 10.0}, "hears the clicks, but their spread"),
        ({"snr_db": -3.0}, "cannot hear the clicks"),
        ({"input_ms": -120.0}, "is impossible"),
    ],
)
def test_declines_with_the_reason(change: dict[str, float], words: str) -> None:
    """What is not loud enough, clipped, too little, scattered, or not to be told apart is declined, and says so."""
    audio, rate_hz, sent, stamps = replace(Scene(), **change).record()

    answer = microphone_delay(np.clip(audio, -1, 1), rate_hz, sent, stamps)

    assert isinstance(answer, Declined), answer
    assert words in answer.reason


@pytest.mark.parametrize("size", [0, 100, 48_000, 480_000])
def test_silence_is_declined(size: int) -> None:
    """A recording of nothing, however long, is declined without a fault."""
    _, rate_hz, sent, stamps = Scene().record()

    assert isinstance(microphone_delay(np.zeros(size), rate_hz, sent, stamps), Declined)


def test_noise_alone_is_declined(rng: np.random.Generator) -> None:
    """Neither is there a delay in noise."""
    _, rate_hz, sent, stamps = Scene().record()

    assert isinstance(microphone_delay(0.1 * rng.standard_normal(1_400_000), rate_hz, sent, stamps), Declined)


def test_knocks_on_a_click_do_not_count() -> None:
    """Some knocks fall on a click: they are left out, and the others give the delay."""
    scene = Scene(seed=5)
    audio, rate_hz, sent, stamps = scene.record()
    on_click = sent[:6] + round(1000 * (scene.delay_ms + 6.0))

    answer = microphone_delay(audio, rate_hz, sent, np.sort(np.concatenate([stamps, on_click])))

    assert isinstance(answer, Delay)
    assert abs(answer.delay_ms - scene.delay_ms) < 0.5
    assert answer.n <= stamps.size


def test_wild_stamps_do_not_pull() -> None:
    """A quarter of the stamps 3.5 ms late, as from a port that bundles messages: the others decide."""
    scene = Scene(seed=6)
    audio, rate_hz, sent, stamps = scene.record()
    late = stamps.copy()
    late[::4] += 3_500

    answer = microphone_delay(audio, rate_hz, sent, late)

    assert isinstance(answer, Delay)
    assert abs(answer.delay_ms - scene.delay_ms) < 0.3


def test_stray_stamps_do_not_count() -> None:
    """Strokes that made no sound (a brush of the hand) and sounds without a stamp leave the delay alone."""
    scene = Scene()
    audio, rate_hz, sent, stamps = scene.record()
    stray = np.sort(np.concatenate([stamps, stamps[:4] + 400_123]))

    answer = microphone_delay(audio, rate_hz, sent, stray)

    assert isinstance(answer, Delay)
    assert abs(answer.delay_ms - scene.delay_ms) < 0.5
    assert NEEDED <= answer.n <= stamps.size
