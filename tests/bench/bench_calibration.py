"""How near the microphone's delay comes to the true one, beside the plain way: ``python -m tests.bench.bench_calibration``.

The plain way is a threshold at a third of the loudest sample near where clicks and knocks are (the true shifts are given
to it, give or take 8 ms, which it would have to find), and the difference of two medians. 60 simulated recordings a row.
"""

import numpy as np

from heeltap.gear.delay import Delay
from heeltap.gear.microphone import microphone_delay
from heeltap.model.arrays import FloatArray
from tests.makers.recordings import Scene, a_click

RECORDINGS = 60


def plain(audio: FloatArray, rate_hz: float, at_ms: FloatArray) -> FloatArray:
    """First sample near each moment that is a third as loud as the loudest there."""
    found = []
    for at in at_ms.tolist():
        first = round((at - 8) * rate_hz / 1000)
        piece = np.abs(audio[first : round((at + 8) * rate_hz / 1000)])
        found.append((first + int(np.argmax(piece > piece.max() / 3))) * 1000 / rate_hz)
    return np.array(found)


def scene_of(seed: int, snr_db: float, room: float) -> Scene:
    """A scene at random."""
    rng = np.random.default_rng(seed)
    return Scene(
        output_ms=rng.uniform(0, 150),
        input_ms=rng.uniform(0.5, 10),
        microphone_ms=rng.uniform(0, 300),
        drift=rng.normal(0, 60e-6),
        snr_db=snr_db,
        room=room,
        seed=seed,
    )


def main() -> None:
    """Print errors in milliseconds."""
    print(
        f"{'dB':>4} {'room':>5} | {'answers':>8} {'mean':>7} {'SD':>6} {'worst':>6} {'covered':>8} | plain: mean, SD, worst"
    )
    for snr_db, room in ((30, 0.0), (20, 0.0), (20, 1.0), (15, 0.0), (10, 0.0)):
        ours, inside, theirs = [], 0, []
        for seed in range(RECORDINGS):
            scene = scene_of(seed, snr_db, room)
            audio, rate_hz, sent, stamps = scene.record()
            delay = microphone_delay(audio, rate_hz, sent, stamps, click_sound=a_click() if seed % 2 else None)
            if isinstance(delay, Delay):
                ours.append(delay.delay_ms - scene.delay_ms)
                inside += abs(ours[-1]) <= delay.uncertainty_ms
            clicks, knocks = sent / 1000, stamps / 1000
            heard = plain(audio, rate_hz, clicks + scene.output_ms + scene.microphone_ms)
            knocked = plain(audio, rate_hz, knocks - scene.input_ms + scene.microphone_ms)
            theirs.append(np.median(heard - clicks) + np.median(knocks - knocked) - scene.delay_ms)
        ours_ms, plain_ms = np.array(ours or [np.nan]), np.array(theirs)
        print(
            f"{snr_db:>4} {room:>5} | {len(ours):>5}/{RECORDINGS} {ours_ms.mean():>7.3f} {ours_ms.std():>6.3f} "
            f"{np.abs(ours_ms).max():>6.3f} {inside:>5}/{len(ours)} | "
            f"{plain_ms.mean():.3f}, {plain_ms.std():.3f}, {np.abs(plain_ms).max():.3f}"
        )


if __name__ == "__main__":
    main()
