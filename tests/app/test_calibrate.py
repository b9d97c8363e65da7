"""Calibrating with the real engine and scripted players, and a microphone that hears what it should."""

from collections.abc import Iterator

import numpy as np
import pytest

from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import run_engine as running
from heeltap.app.route.calibrate import (
    keep,
    knock_clicks,
    microphone_delay_of,
    same_path_delay,
    tap_clicks,
    tapped_delay,
)
from heeltap.engine.process import EngineSpec, start_engine
from heeltap.errors import PortError
from heeltap.files.calibrations import calibrations, keep_selftest
from heeltap.files.settings import Stored, write_settings
from heeltap.gear.delay import LEAST_TAPS, SETTLING, Declined, Delay, irregular_us
from heeltap.gear.microphone import NEEDED
from heeltap.model.messages import Schedule
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.audio import Recording
from heeltap.sound.audio_out import AudioOutput
from heeltap.sound.click import click_schedule
from tests.engine.jack_player import Player
from tests.engine.jack_server import Server, server_missing
from tests.engine.timing import now_ns
from tests.files.test_calibrations import a_test
from tests.makers.recordings import RATE_HZ, Scene, a_click, a_knock


def strokes(at_us: np.ndarray) -> Schedule:
    """A player who strikes at these moments."""
    due = np.sort(np.rint(at_us).astype(np.int64))
    return Schedule(due, (b"\x99\x26\x50",) * due.size, ("on",) * due.size, int(due[-1]))


@pytest.fixture
def short_clicks(monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    """Sixteen clicks in three seconds, instead of twenty-four in twenty-four; when they are due."""
    due = irregular_us(16, shortest_us=150_000, longest_us=220_000, rng=np.random.default_rng(4))
    schedule = Schedule(due, (b"\x99\x4d\x78",) * 16, ("click",) * 16, int(due[-1]))
    monkeypatch.setattr(calibrating, "knock_clicks", lambda *_: schedule)
    return due


@pytest.fixture
def zero_ns(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """When bar 1, beat 1 fell, for a microphone that must know what it hears."""
    seen: list[int] = []

    def spied(spec: EngineSpec) -> object:
        engine = start_engine(spec)
        seen.append(engine.zero_ns)
        return engine

    monkeypatch.setattr(running, "start_engine", spied)
    return seen


class Ear:
    """A simulated microphone: hears clicks ``output_ms`` after they were due, and knocks ``input_ms`` before their
    stamps."""

    def __init__(self, zero_ns: list[int], clicks: np.ndarray, knocks: np.ndarray, **scene: float) -> None:
        self.zero_ns, self.clicks, self.knocks = zero_ns, clicks, knocks
        self.scene = Scene(**scene)  # type: ignore[arg-type]
        self.holes, self.name = tuple[float, ...](), "desk microphone"
        self.started_ns = 0

    def start(self) -> None:
        """Begin."""
        self.started_ns = now_ns()

    def stop(self) -> Recording:
        """What was to be heard until now."""
        rng = np.random.default_rng(1)
        zero_ms = (self.zero_ns[0] - self.started_ns) / 1e6
        wave = np.zeros(round((now_ns() - self.started_ns) / 1e9 * RATE_HZ))
        for at in self.clicks / 1000 + zero_ms + self.scene.output_ms:
            self.scene._add(wave, at, a_click())
        for at in self.knocks / 1000 + zero_ms - self.scene.input_ms:
            self.scene._add(wave, at, a_knock(rng))
        return Recording(0.3 * wave + 0.003 * rng.standard_normal(wave.size), RATE_HZ, self.holes)


@pytest.mark.live
def test_microphone_finds_the_delay_of_a_route(short_clicks: np.ndarray, zero_ns: list[int]) -> None:
    """Through the engine, its journal and a microphone: output plus input delay to 0.5 ms and the clicks' lateness."""
    knocks = short_clicks[:-1] + np.random.default_rng(2).uniform(60_000, 110_000, 15)
    ear = Ear(zero_ns, short_clicks, knocks, output_ms=22.0, input_ms=3.0)
    ear.holes = (0.0,)  # before the first click, where it does not matter
    shares: list[float] = []
    delay = microphone_delay_of(
        "fake:", "fake:", ear, rng=np.random.default_rng(1), progress=shares.append, script=strokes(knocks)
    )

    assert isinstance(delay, Delay), delay
    assert delay.delay_ms == pytest.approx(25.0, abs=0.8)  # the clicks are heard from when they were due, not sent
    assert NEEDED <= delay.n <= 15
    assert shares == sorted(shares)
    assert 0 < len(shares)


@pytest.mark.live
def test_holes_in_the_recording_are_declined(zero_ns: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    """After a hole all times are wrong."""
    clicks = np.array([0, 100_000])
    schedule = Schedule(clicks, (b"\x99\x4d\x78",) * 2, ("click",) * 2, 100_000)
    monkeypatch.setattr(calibrating, "knock_clicks", lambda *_: schedule)
    ear = Ear(zero_ns, clicks, clicks + 50_000.0)
    ear.holes = (30.0, 31.0)
    script = strokes(clicks + 50_000.0)
    answer = microphone_delay_of("fake:", "fake:", ear, rng=np.random.default_rng(1), script=script)

    assert isinstance(answer, Declined)
    assert "2 holes" in answer.reason


def test_wireless_microphone_is_refused() -> None:
    """By its name, before anybody knocks."""
    ear = Ear([], np.zeros(0), np.zeros(0))
    ear.name = "Bluetooth headset"

    with pytest.raises(PortError, match="'Bluetooth headset': heeltap does not score wireless routes"):
        microphone_delay_of("fake:", "fake:", ear, rng=np.random.default_rng(1))
    assert 0 == ear.started_ns


def test_a_click_must_be_heard() -> None:
    """Without an output there is nothing to tap to or to record; the recorder is not touched."""
    with pytest.raises(PortError, match="no output for the click"):
        tapped_delay("fake:", None)
    with pytest.raises(PortError, match="no output for the click"):
        microphone_delay_of("fake:", None, Ear([], np.zeros(0), np.zeros(0)), rng=np.random.default_rng(1))


@pytest.mark.live
def test_tapping_along(monkeypatch: pytest.MonkeyPatch) -> None:
    """Taps 11 ms before the click, double triggers and a chord included: the median comes back."""
    clicks = click_schedule(steady_tempo(750), steady_metre(), 11)
    monkeypatch.setattr(calibrating, "tap_clicks", lambda _: clicks)
    at = 80_000.0 * np.arange(44) - 11_000
    delay = tapped_delay("fake:", "fake:", script=strokes(np.concatenate([at, at[::3] + 7_000])))

    assert isinstance(delay, Delay)
    assert not delay.judges
    assert delay.delay_ms == pytest.approx(-11.0, abs=1.0)  # from when the clicks really left
    assert 44 - SETTLING == delay.n


def test_the_computers_own_sound_clicks_as_in_a_drill(monkeypatch: pytest.MonkeyPatch) -> None:
    """``audio`` as the output is the sound that a drill opens, not a MIDI port of that name."""
    seen: list[EngineSpec] = []

    def stop_here(spec: EngineSpec, _: object) -> None:
        seen.append(spec)
        raise KeyboardInterrupt

    monkeypatch.setattr(calibrating, "run_engine", stop_here)
    for out_port in ("audio:Desk", "fake:"):
        with pytest.raises(KeyboardInterrupt):
            tapped_delay("fake:", out_port)

    assert [None, "fake:"] == [spec.out_port for spec in seen]
    assert [AudioOutput("audio:Desk").name, None] == [getattr(spec.make_output, "name", None) for spec in seen]


@pytest.mark.live
def test_too_few_taps_are_declined(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the clicks tapped are not enough."""
    clicks = click_schedule(steady_tempo(1500), steady_metre(), 11)
    monkeypatch.setattr(calibrating, "tap_clicks", lambda _: clicks)
    answer = tapped_delay("fake:", "fake:", script=strokes(80_000.0 * np.arange(22)))

    assert isinstance(answer, Declined)
    assert f"heeltap needs {LEAST_TAPS}" in answer.reason


def test_same_path_is_as_unsure_as_the_selftest_of_the_machine() -> None:
    """Without one, the usual wire; a loop inside heeltap says nothing about a wire."""
    without = same_path_delay("Pad", "Pad").uncertainty_ms
    keep_selftest(a_test())

    assert (2.0, 0.3) == (without, same_path_delay("Pad", "Pad").uncertainty_ms)


@pytest.mark.parametrize("call", [same_path_delay, tapped_delay])
@pytest.mark.parametrize(("in_port", "words"), [("keys", "20 ms only"), ("Pad Bluetooth", "wireless")])
def test_some_inputs_are_refused(call: object, in_port: str, words: str) -> None:
    """The computer's keyboard and wireless routes are not calibrated by any way."""
    with pytest.raises(PortError, match=words):
        call(in_port, "Module")  # type: ignore[operator]


def test_kept_with_ports_date_buffer_and_version(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is kept says when, with which ports and which buffer it was made; a named buffer goes before the asked one."""
    monkeypatch.setattr(calibrating, "sound_buffer", lambda: "64 frames at 48000 Hz")
    row = keep(Delay("microphone", 12.34567, 0.51234, 23, 0.4), "Pad", None)
    keep(Delay("same-path", 0.0, 2.0, 0), "Keys", "Keys", buffer="256")

    assert ("Pad", "", 12.346, 0.512, 23, "64 frames at 48000 Hz") == (
        row.in_port,
        row.out_port,
        row.delay_ms,
        row.uncertainty_ms,
        row.n,
        row.buffer,
    )
    assert row.date[:2] == "20"
    assert row.heeltap
    assert ["256", "64 frames at 48000 Hz"] == [one.buffer for one in calibrations()]


def test_what_is_played_for_calibrating() -> None:
    """Taps: 44 clicks behind the count-in, at least 32 of them count. Knocks: 24 loud clicks at uneven moments."""
    taps, knocks = tap_clicks(), knock_clicks(np.random.default_rng(1))
    on = [kind == "click" for kind in knocks.kind]

    assert 44 - SETTLING >= LEAST_TAPS
    assert 44 == sum(kind in ("click", "accent") for kind in taps.kind)
    assert (24, 120) == (sum(on), knocks.messages[0][2])
    assert np.diff(knocks.due_us[on]).min() >= 700_000


@pytest.mark.jack
@pytest.mark.skipif(bool(server_missing()), reason=server_missing())
def test_tapping_along_over_a_real_route(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process taps 25 ms after each click that it hears over a real MIDI port: the feel offset says so, but for
    the turns of the server, and is kept with the server's buffer."""
    monkeypatch.setenv("HEELTAP_MIDI_API", "jack")
    clicks = click_schedule(steady_tempo(500), steady_metre(), 11)
    monkeypatch.setattr(calibrating, "tap_clicks", lambda _: clicks)
    with Server(period=64) as server:
        for key, value in server.environment.items():
            monkeypatch.setenv(key, value)
        player = Player(server.environment)
        at_ns = 120_000_000 * np.arange(4, 48) + 25_000_000
        player.play(at_ns.tolist(), [40] * 44, from_first_click=True)
        delay = tapped_delay("robot:", "robot-ear:")
        assert isinstance(delay, Delay), delay
        row = keep(delay, "robot:", "robot-ear:")
        player.finish()

    assert 44 - SETTLING == delay.n
    assert 25.0 < delay.delay_ms < 40.0  # four turns of 1.3 ms, and a busy machine
    assert ("robot:out", "robot-ear:in", "64 frames at 48000 Hz") == (row.in_port, row.out_port, row.buffer)


def test_the_clicks_go_to_the_channel_of_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device that listens on channel 3 only is calibrated on channel 3, with the sharp wood whatever sound is kept."""
    write_settings(Stored(click_notes="metronome", click_channel=3))
    sent: list[Schedule] = []

    def refuse(spec: EngineSpec, progress: object) -> None:
        sent.append(spec.schedule)
        raise PortError("enough")

    monkeypatch.setattr(calibrating, "_played", refuse)
    with pytest.raises(PortError, match="enough"):
        tapped_delay("fake:", "fake:")

    assert {(0x92, 76), (0x92, 77)} == {tuple(message[:2]) for message in sent[0].messages if message[0] & 0xF0 == 0x90}
