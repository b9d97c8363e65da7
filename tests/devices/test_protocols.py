"""The border to devices: quiet where there are none, strict about names of systems."""

import os
import subprocess
import sys

import pytest

from heeltap.devices.quiet import quiet_stderr
from heeltap.devices.systems import list_ports, midi_system
from heeltap.errors import PortError


@pytest.mark.live
def test_machine_without_midi_says_so_in_one_line() -> None:
    """No sequencer, no server: `PortError` in one line, and nothing of the C library's own text on descriptor 2."""
    code = (
        "from heeltap.devices.systems import list_ports\n"
        "from heeltap.errors import PortError\n"
        "try: list_ports('jack')\n"
        "except PortError as error: print(error)\n"
    )
    environment = os.environ | {"JACK_DEFAULT_SERVER": "heeltap-nobody", "JACK_NO_START_SERVER": "1"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)

    assert "" == done.stderr
    assert 1 == done.stdout.count("\n")
    assert done.stdout.startswith("MIDI devices (jack): the system offers none: ")
    assert "recorded files can be scored all the same" in done.stdout


def complain_and_fail() -> None:
    """What a C library does that writes to descriptor 2 and then fails."""
    with quiet_stderr():
        os.write(2, b"inside ")
        raise KeyError


def test_stderr_is_quiet_inside_only(capfd: pytest.CaptureFixture[str]) -> None:
    """What a C library writes inside is gone; before and after it is there; also when something is raised."""
    os.write(2, b"before ")
    with pytest.raises(KeyError):
        complain_and_fail()
    os.write(2, b"after")

    assert "before after" == capfd.readouterr().err


def test_unknown_system_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A MIDI system that there is no name for: from an argument or from the environment."""
    with pytest.raises(PortError, match="MIDI system: 'jakc'; expected one of alsa, jack, core, windows"):
        list_ports("jakc")
    monkeypatch.setenv("HEELTAP_MIDI_API", "pulse")
    with pytest.raises(PortError, match="'pulse'"):
        midi_system()


def test_two_threads_may_be_quiet_at_once(capfd: pytest.CaptureFixture[str]) -> None:
    """However they overlap, nothing is heard meanwhile and everything afterwards."""
    first, second = quiet_stderr(), quiet_stderr()

    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    os.write(2, b"still quiet")
    second.__exit__(None, None, None)
    os.write(2, b"loud again")

    assert capfd.readouterr().err == "loud again"
