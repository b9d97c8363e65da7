"""The microphone through a stand-in for sounddevice, and what is said where there is none."""

import multiprocessing
import subprocess
import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from heeltap.errors import PortError
from heeltap.sound import audio
from heeltap.sound.audio import Microphone, record, sound_buffer


class _Error(Exception):
    """The library's own."""


class _Stream:
    """Delivers three blocks when it is stopped, the second after a hole."""

    def __init__(self, **wishes: Any) -> None:
        self.wishes = wishes
        self.calls: list[str] = []

    def start(self) -> None:
        self.calls.append("start")

    def stop(self) -> None:
        self.calls.append("stop")
        block = np.empty((4, 1), np.float32)  # the library uses one buffer again and again
        for value in (0.1, 0.2, 0.3):
            block[:] = value
            self.wishes["callback"](block, 4, None, SimpleNamespace(input_overflow=value == 0.2))

    def close(self) -> None:
        self.calls.append("close")


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """A sounddevice with one input, and the recording process as a thread of this one."""

    def query(device: str | None, kind: str) -> dict[str, Any]:
        if device not in (None, "Desk"):
            raise ValueError(f"No input device matching {device!r}")
        return {"name": "Desk microphone", "default_samplerate": 44_100.0, "kind": kind}

    made: list[_Stream] = []

    def stream(**wishes: Any) -> _Stream:
        made.append(_Stream(**wishes))
        return made[-1]

    module = SimpleNamespace(query_devices=query, InputStream=stream, PortAudioError=_Error, made=made)
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    monkeypatch.setattr(audio, "_in_process", in_thread)
    return module


def in_thread(device: str | None) -> Any:
    """Our end of the wire to a recorder in a thread."""
    ours, theirs = multiprocessing.Pipe()
    threading.Thread(target=record, args=(device, theirs), daemon=True).start()
    return ours


def test_blocks_become_one_recording(library: SimpleNamespace) -> None:
    """In order, copied out of the library's own buffer, with its rate, its name and its holes."""
    microphone = Microphone("Desk")
    microphone.start()
    recording = microphone.stop()

    assert [0.1] * 4 + [0.2] * 4 + [0.3] * 4 == pytest.approx(recording.wave.tolist())
    assert np.float64 == recording.wave.dtype
    assert (44_100.0, "Desk microphone", (4 / 44_100,)) == (recording.rate_hz, microphone.name, recording.holes)
    assert ["start", "stop"] == library.made[0].calls[:2]
    assert 1 == library.made[0].wishes["channels"]


def test_recording_of_nothing_is_empty(library: SimpleNamespace) -> None:
    """A device that gives no sound is no fault here."""
    library.InputStream = lambda **_: SimpleNamespace(start=lambda: None, stop=lambda: None, close=lambda: None)
    microphone = Microphone()
    microphone.start()

    assert 0 == microphone.stop().wave.size


def test_unknown_microphone_is_one_line(library: SimpleNamespace) -> None:
    """With its name and how to list those that there are."""
    with pytest.raises(PortError, match=r"microphone 'Attic': cannot be used: No input .* \(python -m sounddevice"):
        Microphone("Attic")


def test_device_that_refuses_is_one_line(library: SimpleNamespace) -> None:
    """What the library says, in one line, whether it refuses to be opened or to be started."""

    def refuse(**_: Any) -> None:
        raise _Error("Device unavailable\n[PaErrorCode -9985]")

    working, library.InputStream = library.InputStream, refuse
    with pytest.raises(PortError, match=r"microphone: cannot be used: Device unavailable \[PaErrorCode -9985\]"):
        Microphone()
    library.InputStream = working
    microphone = Microphone()
    library.made[-1].start = refuse
    with pytest.raises(PortError, match="Device unavailable"):
        microphone.start()


def test_recorder_that_dies_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sound library that ends its process does not take this one with it."""
    ours, theirs = multiprocessing.Pipe()
    theirs.close()
    monkeypatch.setattr(audio, "_in_process", lambda _: ours)

    with pytest.raises(PortError, match="does not answer"):
        Microphone()


def test_recorder_ends_with_whoever_started_it(library: SimpleNamespace) -> None:
    """Nobody left at the other end: the device is let go, nothing is raised."""
    ours, theirs = multiprocessing.Pipe()
    recorder = threading.Thread(target=record, args=(None, theirs))
    recorder.start()
    assert "ready" == ours.recv()[0]
    ours.close()
    recorder.join(5)

    assert not recorder.is_alive()
    assert ["close"] == library.made[0].calls


def test_without_the_extra_it_says_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """One line."""
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setattr(audio, "_in_process", in_thread)

    with pytest.raises(PortError, match=r"sounddevice is not installed.*pip install sounddevice"):
        Microphone()


@pytest.mark.live
def test_a_process_of_its_own_answers(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The real process, whose sounddevice finds no C library: its line comes back here."""
    (tmp_path / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    monkeypatch.syspath_prepend(str(tmp_path))  # a spawned process inherits the path

    with pytest.raises(PortError, match=r"PortAudio library not found.*apt install libportaudio2"):
        Microphone()


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ({"jack_bufsize": "128\n", "jack_samplerate": "48000\n"}, "128 frames at 48000 Hz"),
        ({"jack_bufsize": "buffer size = 64  sample rate = 44100\n"}, "64 frames"),
        ({"jack_bufsize": ""}, ""),
        ({}, ""),
    ],
)
def test_buffer_as_jacks_own_tools_say_it(
    monkeypatch: pytest.MonkeyPatch, answers: dict[str, str], expected: str
) -> None:
    """Both kinds of answer; nothing where nobody answers, and no server is started by asking."""

    def run(command: list[str], *, env: dict[str, str], **_: Any) -> Any:
        assert env["JACK_NO_START_SERVER"] == "1"
        return SimpleNamespace(stdout=answers[command[0]], returncode=0 if answers[command[0]] else 1)

    monkeypatch.setattr(audio.shutil, "which", lambda tool: tool if tool in answers else None)
    monkeypatch.setattr(audio.subprocess, "run", run)

    assert expected == sound_buffer()


def test_tool_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """A server that does not answer costs two seconds, not the drill."""

    def hang(command: list[str], *, timeout: float, **_: Any) -> None:
        assert timeout <= 2
        raise subprocess.TimeoutExpired(command, timeout)

    monkeypatch.setattr(audio.shutil, "which", lambda tool: tool)
    monkeypatch.setattr(audio.subprocess, "run", hang)

    assert sound_buffer() == ""
