"""The computer's own sound as an output, on a stream that is only pretended."""

import sys
from types import ModuleType

import numpy as np
import pytest

from heeltap.errors import PortError
from heeltap.model.arrays import FloatArray
from heeltap.model.messages import ALL_NOTES_OFF
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.audio_out import AudioOut, AudioOutput, Feeder, audio_found, is_audio
from heeltap.sound.click import click_schedule

RATE, BLOCK = 48_000, 128
LEAD_NS = 8_000_000


def heard(
    feeder: Feeder, seconds: float, rng: np.random.Generator, *, zero_ns: int, ppm: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Everything that such a stream plays from 1 s on, and when each sample is heard, ns."""
    waves, times = [], []
    for i in range(round(seconds * RATE / BLOCK)):
        if i == 20:
            feeder.begin(zero_ns)
        play_ns = 1e9 + i * BLOCK / RATE * 1e9 * (1 - ppm * 1e-6)
        samples = feeder.feed(BLOCK, round(play_ns - LEAD_NS + rng.exponential(50_000)), LEAD_NS)
        waves.append(np.zeros(BLOCK) if samples is None else samples)
        times.append(play_ns + np.arange(BLOCK) * 1e9 / RATE)
    return np.concatenate(waves), np.concatenate(times)


def begins(wave: FloatArray) -> FloatArray:
    """The first samples of the clicks."""
    sound = np.flatnonzero(wave)
    return np.asarray(sound[np.diff(sound, prepend=-10_000) > 1_000])


def test_clicks_are_heard_when_they_are_due(rng: np.random.Generator) -> None:
    """With questions that come late at random: every click within 0.3 ms of its moment, and exactly so many samples from
    one to the next."""
    schedule = click_schedule(steady_tempo(150), steady_metre(), 8)
    feeder = Feeder(schedule, RATE)
    zero_ns = 4_000_000_000
    wave, times_ns = heard(feeder, 18, rng, zero_ns=zero_ns)
    at = begins(wave)
    due_ns = [
        zero_ns + due * 1000 for due, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind != "off"
    ]

    assert {19_200} == set(np.diff(at).tolist())
    assert np.max(np.abs(times_ns[at] - due_ns)) < 300_000
    assert 0 == feeder.moves


def test_a_sound_card_that_runs_away_is_followed(rng: np.random.Generator) -> None:
    """At 100 ppm for a minute, 6 ms: the clicks stay within 2 ms of their moments, moved some times and never by more
    than 1.5 ms at once."""
    schedule = click_schedule(steady_tempo(150), steady_metre(), 36)
    feeder = Feeder(schedule, RATE)
    zero_ns = 4_000_000_000
    wave, times_ns = heard(feeder, 62, rng, zero_ns=zero_ns, ppm=100.0)
    at = begins(wave)
    due_ns = [
        zero_ns + due * 1000 for due, kind in zip(schedule.due_us.tolist(), schedule.kind, strict=True) if kind != "off"
    ]

    assert np.max(np.abs(times_ns[at] - due_ns)) < 2_000_000
    assert 4 <= feeder.moves <= 20
    assert np.max(np.abs(np.diff(at) - 19_200)) <= 72


def test_stop_is_silence_at_once(rng: np.random.Generator) -> None:
    """After "all sound off" not one sample more."""
    feeder = Feeder(click_schedule(steady_tempo(150), steady_metre(), 8), RATE)
    heard(feeder, 4.001, rng, zero_ns=1_200_000_000)
    assert feeder.zero is not None
    feeder.silent = True

    assert feeder.feed(BLOCK, 5_000_000_000, LEAD_NS) is None


class FakeStream:
    """A sound library's stream."""

    active, latency, samplerate = True, 0.01, RATE

    def __init__(self, **wishes: object) -> None:
        self.wishes = wishes
        self.log: list[str] = []

    def start(self) -> None:
        """Begin."""
        self.log.append("start")

    def abort(self) -> None:
        """End at once."""
        self.log.append("abort")

    def close(self) -> None:
        """Let go."""
        self.log.append("close")


class FakeLibrary(ModuleType):
    """A sound library with one device."""

    PortAudioError = RuntimeError
    OutputStream = FakeStream

    @staticmethod
    def query_devices(name: str | None, kind: str) -> dict[str, object]:
        """Knows only the default one and Desk."""
        if name not in (None, "Desk"):
            raise ValueError(f"No {kind} device matching {name!r}")
        return {"name": "Desk", "index": 3, "default_samplerate": 48_000.0, "max_output_channels": 8}


def test_output_obeys_like_a_port(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opened by name for two channels; clicks sent are ignored, silence is obeyed, closing ends the stream at once."""
    monkeypatch.setitem(sys.modules, "sounddevice", FakeLibrary("sounddevice"))
    out = AudioOutput("audio:Desk")(click_schedule(steady_tempo(150), steady_metre(), 1), lambda: 0)
    out.begin(1_000)
    out.send(b"\x99\x4c\x6e")
    assert not out.feeder.silent
    for message in ALL_NOTES_OFF:
        out.send(message)
    assert out.feeder.silent
    out.close()

    assert ("audio:Desk", True, False) == (out.name, out.connected(), out.returned())
    assert ["start", "abort", "close"] == out._stream.log
    assert {"device": 3, "channels": 2}.items() <= out._stream.wishes.items()


def test_missing_library_or_device_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """It says what to install, or that there is no such device."""
    schedule = click_schedule(steady_tempo(150), steady_metre(), 1)
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(PortError, match=r"sounddevice is not installed.*pip install sounddevice"):
        AudioOut(schedule, lambda: 0)
    monkeypatch.setitem(sys.modules, "sounddevice", FakeLibrary("sounddevice"))
    with pytest.raises(PortError, match="sound output 'Hall': cannot be opened"):
        AudioOut(schedule, lambda: 0, "Hall")
    assert [True, True, False] == [is_audio(name) for name in ("audio", "audio:Desk", "audiobox")]


@pytest.mark.parametrize(("fault", "expected"), [(None, True), ("query", False), ("check", False), ("import", False)])
def test_a_sound_output_is_found_only_where_it_can_be_opened(
    monkeypatch: pytest.MonkeyPatch, fault: str | None, expected: bool
) -> None:
    """No sound card, a card that takes nothing, and no library are all no sound, and nothing is raised."""

    class PortAudioError(Exception):
        """As the library calls it."""

    def query(*_: object) -> dict[str, int]:
        if fault == "query":
            raise PortAudioError("no default output device")
        return {"index": 3, "max_output_channels": 2}

    def check(*_: object) -> None:
        if fault == "check":
            raise PortAudioError("invalid sample format")

    library = ModuleType("sounddevice")
    library.__dict__.update(PortAudioError=PortAudioError, query_devices=query, check_output_settings=check)
    monkeypatch.setitem(sys.modules, "sounddevice", None if fault == "import" else library)

    assert expected is audio_found()
