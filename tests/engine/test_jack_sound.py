"""Clicks that are really heard: a synthesizer over JACK, and our own sound, both recorded by another process."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from heeltap.engine.process import Engine, EngineSpec, start_engine
from heeltap.files.takes.journal import read_journal
from heeltap.model.arrays import FloatArray
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.audio_out import AudioOutput
from heeltap.sound.click import CLICK_SOUNDS, click_schedule
from tests.engine.jack_recorder import RATE_HZ, Recorder, library_missing, onsets
from tests.engine.jack_server import Server, server_missing
from tests.engine.timing import nap, now_ns

SOUND_FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")


def missing() -> str:
    """Why this cannot be tried here."""
    return server_missing() or library_missing()


def synth_missing() -> str:
    """Why there is no synthesizer."""
    if shutil.which("fluidsynth") is None or not SOUND_FONT.exists():
        return "needs fluidsynth and its sound font (Debian: fluidsynth timgm6mb-soundfont)"
    return ""


pytestmark = [pytest.mark.jack, pytest.mark.slow, pytest.mark.skipif(bool(missing()), reason=missing())]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    """One server for the file."""
    with Server(period=128) as running:
        yield running


@pytest.fixture(autouse=True)
def environment(server: Server, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """This process and those that it starts find the server."""
    for key, value in server.environment.items():
        monkeypatch.setenv(key, value)
    return dict(os.environ)


@pytest.fixture
def synth(environment: dict[str, str]) -> Iterator[None]:
    """A synthesizer that can be heard and played to."""
    if synth_missing():
        pytest.skip(synth_missing())
    options = ["-i", "-s", "-a", "jack", "-m", "jack", "-o", "midi.jack.id=synth", "-o", "audio.jack.id=synth"]
    process = subprocess.Popen(
        ["fluidsynth", *options, "-r", str(RATE_HZ), "-g", "1", "-R", "0", "-C", "0", str(SOUND_FONT)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    until = now_ns() + 10_000_000_000
    while not {"synth:midi_00", "synth:left"} <= set(clients(environment)):
        assert now_ns() < until, "the synthesizer did not start"
        nap(0.1)
    yield
    process.terminate()
    process.wait(10)


def clients(environment: dict[str, str]) -> list[str]:
    """Ports of the server."""
    listed = subprocess.run(["jack_lsp"], capture_output=True, text=True, env=environment, check=False, timeout=10)
    return listed.stdout.split()


def to_its_end(engine: Engine) -> None:
    """Let it play."""
    until = now_ns() + 20_000_000_000
    while engine.alive and now_ns() < until:
        engine.poll()
        nap(0.05)


def heard_ms(spec: EngineSpec, journal: Path, recorder: Recorder) -> tuple[FloatArray, int]:
    """When each click was heard, against when it was due, ms; and how often samples were lost."""
    try:
        with start_engine(spec) as engine:
            zero_ns = engine.zero_ns
            to_its_end(engine)
        wave, start_ns, holes = recorder.stop()
    finally:
        recorder.kill()
    at_ns = start_ns + onsets(wave) / RATE_HZ * 1e9
    due_ns = zero_ns + read_journal(journal).click_due_us * 1000
    return (at_ns - due_ns) / 1e6 if at_ns.size == due_ns.size else np.full(due_ns.size, np.nan), holes


@pytest.mark.parametrize("sound", ["wood", "metronome", "stick"])
def test_synthesizer_sounds_within_four_milliseconds(
    sound: str, synth: None, environment: dict[str, str], tmp_path: Path
) -> None:
    """Every click is heard once, and nine of ten within 4 ms of where they should be: a turn of the server is 2.7 ms, the
    synthesizer's own blocks 1.3."""
    schedule = click_schedule(steady_tempo(240), steady_metre(), 5, sound=CLICK_SOUNDS[sound])
    for attempt in range(3):
        journal = tmp_path / f"{attempt}.jsonl"
        spec = EngineSpec(schedule, (), "synth:midi_00", journal, api="jack")
        off_ms, holes = heard_ms(spec, journal, Recorder("synth", environment, tmp_path))
        if not holes:
            break
    else:
        pytest.skip("the machine lost samples of the recording three times; nothing can be said")
    print(sound, np.round([off_ms.min(), np.median(off_ms), off_ms.max()], 2))

    assert 24 == np.count_nonzero(np.isfinite(off_ms))
    assert np.quantile(np.abs(off_ms), 0.9) < 4.0


def test_our_own_sound_is_exact_to_the_sample(environment: dict[str, str], tmp_path: Path) -> None:
    """The engine's own sound, recorded from its JACK client: from click to click exactly so many samples, and each
    leaves us where it should: the delay that the server states, one turn, before it is due."""
    schedule = click_schedule(steady_tempo(240), steady_metre(), 5)
    for attempt in range(3):
        journal = tmp_path / f"{attempt}.jsonl"
        spec = EngineSpec(schedule, (), None, journal, make_output=AudioOutput("audio"), start_delay_us=3_000_000)
        with start_engine(spec) as engine:
            recorder = Recorder("PortAudio", environment, tmp_path)
            try:
                zero_ns = engine.zero_ns
                to_its_end(engine)
                wave, start_ns, holes = recorder.stop()
            finally:
                recorder.kill()
        if not holes:
            break
    else:
        pytest.skip("the machine lost samples of the recording three times; nothing can be said")
    at = onsets(wave, share=0.3)
    due_ns = zero_ns + read_journal(journal).click_due_us * 1000
    off_ms = (start_ns + at / RATE_HZ * 1e9 - due_ns) / 1e6
    print("own", np.unique(np.diff(at)), np.round([off_ms.min(), np.median(off_ms), off_ms.max()], 2))

    assert {12_000.0} == set(np.diff(at).tolist())
    assert np.max(np.abs(off_ms + 2.67)) < 1.5  # the server says that it plays a turn after it asked
