"""``heeltap calibrate`` and ``heeltap selftest`` as a player meets them."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from heeltap.app.route import calibrate as calibrating
from heeltap.app.route import selftest as selftesting
from heeltap.cli import main, selftest
from heeltap.files.calibrations import calibrations, keep_calibration, selftests
from heeltap.gear.delay import Declined, Delay
from heeltap.gear.selftest import LoopReport, Spread
from heeltap.sound import audio
from tests.files.test_calibrations import a_row
from tests.sound.test_audio import in_thread

PORTS = ["--in", "Pad", "--out", "Module"]


@pytest.fixture(autouse=True)
def _no_jack(monkeypatch: pytest.MonkeyPatch) -> None:
    """No buffer to ask for, wherever this runs."""
    monkeypatch.setattr(calibrating, "sound_buffer", lambda: "")
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: ([], []))


def test_same_path_is_kept_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Ports, what it means, its uncertainty, its limits; shown again later."""
    assert 0 == main(["calibrate", "--same-path", *PORTS, "--buffer", "128 frames"])
    said = capsys.readouterr().out
    assert 0 == main(["calibrate", "--show"])
    shown = capsys.readouterr().out

    assert "in Pad, out Module: same output for click and player, nothing to take away (± 2.0 ms)" in said
    assert "holds only while" in said
    assert "buffer 128 frames" in shown
    assert ["same-path"] == [row.method for row in calibrations()]


@pytest.mark.parametrize(
    ("delay", "code", "words"),
    [
        (Delay("feel", -23.94, 4.6, 40, 11.9), 0, "feel offset -23.9 ms ± 4.6 ms (minus is before the click), 40 taps"),
        (Declined("12 taps could be used, at least 32 are needed"), 4, "heeltap found no delay: 12 taps"),
    ],
)
def test_tapping(
    delay: Delay | Declined, code: int, words: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A feel offset is called that, and never used to judge; a declined one is not kept."""
    monkeypatch.setattr(calibrating, "tapped_delay", lambda *_, **__: delay)
    got = main(["calibrate", "--tap", *PORTS])
    said = capsys.readouterr().out

    assert code == got
    assert words in said
    assert ("never judges early or late by it" in said) is (code == 0)
    assert (1 if code == 0 else 0) == len(calibrations())


def test_microphone(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """What to do is said before, the delay with its uncertainty afterwards; the device is the one that was named."""
    asked: list[str | None] = []

    class Ear:
        name = "Desk microphone"

        def __init__(self, device: str | None) -> None:
            asked.append(device)

    monkeypatch.setattr("heeltap.sound.audio.Microphone", Ear)
    monkeypatch.setattr(calibrating, "microphone_delay_of", lambda *_, **__: Delay("microphone", 31.27, 0.52, 23, 0.31))
    codes = [main(["calibrate", *PORTS, "--microphone", *device]) for device in (["Desk"], [])]
    said = capsys.readouterr().out

    assert [0, 0] == codes
    assert ["Desk", None] == asked
    assert said.index("knock once") < said.index("delay 31.3 ms ± 0.5 ms, by microphone, 23 knocks")


def test_without_the_extra_the_microphone_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """How to install it, exit code 4."""
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setattr(audio, "_in_process", in_thread)

    assert 4 == main(["calibrate", "--microphone", *PORTS])
    assert "pip install sounddevice" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words", "left"),
    [
        ([], "Forgotten: 2.", 0),
        (["--in", "keys"], "Forgotten: 1.", 1),
        (["--out", "nobody"], "There was nothing to forget.", 2),
    ],
)
def test_forgetting(arguments: list[str], words: str, left: int, capsys: pytest.CaptureFixture[str]) -> None:
    """All or some; also of devices that are gone."""
    keep_calibration(a_row())
    keep_calibration(a_row("Keys"))

    assert 0 == main(["calibrate", "--forget", *arguments])
    assert words in capsys.readouterr().out
    assert left == len(calibrations())


def test_nothing_to_show(capsys: pytest.CaptureFixture[str]) -> None:
    """How to begin."""
    assert 0 == main(["calibrate", "--show"])
    assert "heeltap keeps no delay yet" in capsys.readouterr().out


@pytest.mark.live
def test_words_for_a_terminal_without_unicode(tmp_path: Path) -> None:
    """Only characters that it has."""
    command = [sys.executable, "-m", "heeltap", "calibrate", "--same-path", "--in", "fake:", "--out", "none"]
    environment = os.environ | {"PYTHONIOENCODING": "ascii", "HEELTAP_HOME": str(tmp_path)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)

    assert (0, "") == (done.returncode, done.stderr)
    assert "(+- 2.0 ms)" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["calibrate"], 2, "is required"),
        (["calibrate", "--tap", "--same-path"], 2, "not allowed with"),
        (["calibrate", "--tap", "--in", "Pad Bluetooth", "--out", "Module"], 4, "does not score wireless"),
        (["calibrate", "--tap", "--in", "keys", "--out", "Module"], 4, "20 ms only"),
        (["calibrate", "--tap", "--in", "Pad", "--out", "none"], 4, "no output for the click"),
        (["selftest", "--in", "Pad"], 4, "a loop has two ends"),
    ],
)
def test_what_is_wrong_is_one_line(
    arguments: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """On stderr, with its exit code; nothing is kept."""
    got = main(arguments)
    err = capsys.readouterr().err

    assert (code, 1) == (got, err.count("\n"))
    assert words in err
    assert [] == calibrations() == selftests()


SMALL = Spread(0.02, 0.1, 0.21, 0.4)


def a_report(**change: object) -> LoopReport:
    """A good self-test through the system's MIDI."""
    rest: dict[str, object] = {
        "loop": "virtual",
        "in_port": "virtual",
        "out_port": "virtual",
        "sent": 800,
        "lost": 0,
        "doubled": 0,
        "swapped": 0,
        "strange": 0,
        "late_ms": SMALL,
        "trip_ms": 1.234,
        "stamp_ms": SMALL,
        "echo_ms": SMALL,
        "drift_ppm": -0.4,
        "drift_ci95_ppm": (-3.2, 2.6),
        "jumps": 0,
        "scheduler": "real-time scheduling (test)",
        "real_time": True,
        "load": 1.25,
    }
    return LoopReport(**(rest | change))  # type: ignore[arg-type]


@pytest.fixture
def report(monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, object]]:
    """What the self-test is to find; fill in before it runs."""
    change: dict[str, object] = {}
    monkeypatch.setattr(selftesting, "selftest", lambda *_, **__: a_report(**change))
    return change  # type: ignore[return-value]


def test_selftest_in_words(report: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    """Every line of a good one."""
    assert 0 == main(["selftest"])
    *lines, kept = capsys.readouterr().out.splitlines()

    assert [
        "Loop: through the system's MIDI and back (no device, no cable)",
        "800 notes sent, 0 lost",
        "ms                  median    95 %    99 %    most",
        "notes left late       0.02    0.10    0.21    0.40",
        "stamps were off       0.02    0.10    0.21    0.40",
        "both together         0.02    0.10    0.21    0.40",
        "There and back: 1.23 ms, always the same, so calibration takes it away.",
        "The driver's clock runs +0 ppm against the computer's (-3 to +3)",
        "Real-time scheduling (test); load 1.2",
        "You can trust this computer's numbers to 0.21 ms (99 of 100 notes), without a device and its cable.",
    ] == lines
    assert kept.startswith("heeltap keeps this in ")
    assert [True] == [row.trusted for row in selftests()]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lost": 3}, "it lost 3 of 800 notes"),
        ({"late_ms": Spread(0.1, 2.0, 4.2, 8.0)}, "leaves 4.2 ms or more late"),
        ({"stamp_ms": Spread(0.1, 2.0, 5.2, 8.0)}, "is off by 5.2 ms or more"),
        ({"fault": "the device went away"}, "the device went away"),
    ],
)
def test_bad_machine_is_said_kept_and_exit_code_4(
    change: dict[str, object], words: str, report: dict[str, object], capsys: pytest.CaptureFixture[str]
) -> None:
    """Not trustworthy, and why; later takes say so."""
    report.update(change)

    assert 4 == main(["selftest"])
    assert words in capsys.readouterr().out
    assert [False] == [row.trusted for row in selftests()]


def test_open_cable_is_not_kept(report: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    """It says nothing about the machine."""
    report.update(lost=800, echo_ms=None, stamp_ms=None, trip_ms=None, drift_ppm=None, drift_ci95_ppm=None)

    assert 4 == main(["selftest"])
    assert "Nothing came back" in capsys.readouterr().out
    assert [] == selftests()


def test_oddities_are_said(report: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    """What came twice, out of order or from elsewhere; a driver that counts whole milliseconds and jumps."""
    report.update(doubled=2, swapped=1, strange=7, drift_ppm=None, drift_ci95_ppm=None, load=None)
    main(["selftest"])
    out = capsys.readouterr().out

    assert "2 came back twice, 1 out of order, 7 that heeltap did not send" in out
    assert "counts whole milliseconds" in out
    assert "load" not in out


def test_loop_inside_speaks_of_no_driver(report: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    """Where only the engine was tested, neither a way over the wire nor a driver's clock is told of."""
    report.update(loop="inside")
    main(["selftest"])
    out = capsys.readouterr().out

    assert "inside heeltap only" in out
    assert "the engine's own numbers" in out
    assert "There and back" not in out
    assert "driver's clock" not in out


def test_json_alone_on_stdout(report: dict[str, object], capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """With ``--json -`` the words go to stderr; into a file it is the same."""
    main(["selftest", "--json", "-"])
    shown = capsys.readouterr()
    main(["selftest", "--json", str(tmp_path / "test.json")])
    found = json.loads(shown.out)

    assert (selftest.FORMAT, 800, 0.21, True) == (
        found["format"],
        found["sent"],
        found["stamp_ms"]["p99"],
        found["trusted"],
    )
    assert "You can trust" in found["verdict"]
    assert "There and back" in shown.err
    assert found == json.loads((tmp_path / "test.json").read_text())


@pytest.mark.slow
def test_ctrl_c_ends_in_order(tmp_path: Path) -> None:
    """Some seconds after it began, to the whole group as a terminal sends it: 130, one line, nothing kept."""
    environment = os.environ | {"HEELTAP_HOME": str(tmp_path / "home"), "JACK_NO_START_SERVER": "1"}
    with subprocess.Popen(
        [sys.executable, "-m", "heeltap", "selftest"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as child:
        with pytest.raises(subprocess.TimeoutExpired):
            child.wait(5)
        os.killpg(child.pid, signal.SIGINT)
        out, err = child.communicate(timeout=30)

    assert (130, "", "heeltap: interrupted\n") == (child.returncode, out, err)
    assert not (tmp_path / "home").exists()
