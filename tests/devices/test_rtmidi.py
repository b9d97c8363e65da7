"""The adapters over both libraries, with stand-ins for the libraries: the real ones need devices, or another Python."""

from types import SimpleNamespace
from typing import Any

import pytest

from heeltap.devices import rtmidi as adapter
from heeltap.devices.rtmidi import QUEUE_LIMIT, PythonRtmidi, Rtmidi2, probe_in_child
from heeltap.devices.systems import load_system
from heeltap.errors import PortError

NAMES = ["Pad:Pad MIDI 1 20:0", "Keys:Keys MIDI 1 24:0"]


class Client:
    """What both libraries' clients have in common; remembers what was done to it."""

    def __init__(self, *arguments: Any) -> None:
        self.arguments = arguments
        self.done: list[Any] = []
        self.waiting: list[tuple[list[int], float]] = []
        self.names = list(NAMES)

    def open_port(self, index: int) -> None:
        """Connect."""
        if index == 1:
            raise OSError("busy")
        self.done.append(("open", index))

    def open_virtual_port(self, name: str) -> None:
        """Make a port."""
        self.done.append(("virtual", name))

    def ignore_types(self, *flags: bool) -> None:
        """Say what to hide."""
        self.done.append(("ignore", *flags))

    def close_port(self) -> None:
        """Disconnect."""
        self.done.append("close")


class FirstClient(Client):
    """As python-rtmidi names things."""

    def get_ports(self) -> list[str]:
        """Names."""
        return self.names

    def get_message(self) -> tuple[list[int], float] | None:
        """Message and delta."""
        return self.waiting.pop(0) if self.waiting else None

    def send_message(self, message: bytes) -> None:
        """Send."""
        self.done.append(("send", bytes(message)))

    def delete(self) -> None:
        """Free."""
        self.done.append("delete")


class SecondClient(Client):
    """As rtmidi2 names things."""

    deltatime = 0.0

    @property
    def ports(self) -> list[str | None]:
        """Names; None for one that vanished meanwhile."""
        return [*self.names, None]

    def get_message(self) -> list[int] | None:
        """Message; the delta is an attribute."""
        if not self.waiting:
            self.deltatime = 0.0
            return None
        message, self.deltatime = self.waiting.pop(0)
        return message

    def send_raw(self, *data: int) -> None:
        """Send."""
        self.done.append(("send", bytes(data)))


def library(client: type[Client]) -> SimpleNamespace:
    """A stand-in for a library."""
    codes = {"API_UNSPECIFIED": 0, "API_LINUX_ALSA": 2, "API_UNIX_JACK": 3}
    return SimpleNamespace(MidiIn=client, MidiOut=client, **codes)


@pytest.fixture(params=["python-rtmidi", "rtmidi2"])
def system(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> PythonRtmidi | Rtmidi2:
    """Each adapter over its stand-in, asked for JACK."""
    monkeypatch.setattr(adapter, "_check_answers", lambda api, code: None)
    if request.param == "rtmidi2":
        return Rtmidi2(library(SecondClient), "jack")
    return PythonRtmidi(library(FirstClient), "jack")


def test_names_are_the_systems(system: PythonRtmidi | Rtmidi2) -> None:
    """Full names in order; ports that vanished while counting are left out."""
    assert NAMES == system.names(inputs=True) == system.names(inputs=False)


def test_input_gives_bytes_and_delta(system: PythonRtmidi | Rtmidi2) -> None:
    """Messages come as bytes with the driver's delta, oldest first, then None; clock and sensing are not hidden."""
    port: Any = system.open_in("pad")
    port._client.waiting += [([0x90, 60, 1], 0.0), ([0xF8], 0.25)]

    assert "Pad:Pad MIDI 1" == port.name
    assert [(b"\x90\x3c\x01", 0.0), (b"\xf8", 0.25), None] == [port.poll() for _ in range(3)]
    assert [("ignore", True, False, False), ("open", 0)] == port._client.done
    assert QUEUE_LIMIT in port._client.arguments
    assert 3 in port._client.arguments
    assert port.stamped_ns is None


def test_output_sends(system: PythonRtmidi | Rtmidi2) -> None:
    """A message goes out as it is."""
    port: Any = system.open_out("pad")
    client = port._client
    port.send(b"\x99\x22\x6e")
    port.close()
    port.close()

    assert ("send", b"\x99\x22\x6e") in client.done
    assert 1 == client.done.count("close")


@pytest.mark.parametrize("opened", ["open_in", "open_out"])
def test_loss_and_return_are_seen(system: PythonRtmidi | Rtmidi2, opened: str) -> None:
    """Another number is a loss (the connection is dead) and a return (the device is there)."""
    port: Any = getattr(system, opened)("pad")
    before = (port.connected(), port.returned())
    port._client.names[0] = "Pad:Pad MIDI 1 28:0"
    after = (port.connected(), port.returned())
    port._client.names.pop(0)

    assert (True, True) == before
    assert (False, True) == after
    assert (False, False) == (port.connected(), port.returned())


def test_virtual_port_is_made_and_always_there(system: PythonRtmidi | Rtmidi2) -> None:
    """A port of our own is not looked for in the list."""
    port: Any = system.open_in("mine", virtual=True)

    assert ("virtual", "mine") in port._client.done
    assert port.connected()


def test_busy_port_is_one_line(system: PythonRtmidi | Rtmidi2) -> None:
    """The line is ours, what the library says is its cause, and the client is let go."""
    with pytest.raises(
        PortError, match=r"^MIDI output 'keys': cannot be opened \(is another program using it\?\)$"
    ) as told:
        system.open_out("keys")

    assert "busy" == str(told.value.__cause__)


def test_library_that_cannot_make_clients_is_one_line() -> None:
    """No MIDI system: one line of ours, without the library's own words."""

    def fail(*_: object) -> None:
        raise OSError("error creating\nclient object")

    broken = SimpleNamespace(MidiIn=fail, MidiOut=fail, API_LINUX_ALSA=0)
    expected = (
        r"^MIDI devices \(alsa\): the system offers none: no ALSA sequencer answers "
        r"\(recorded files can be scored all the same\)$"
    )
    with pytest.raises(PortError, match=expected):
        PythonRtmidi(broken, "alsa").names(inputs=True)


class NoServer:
    """JACK's function that opens a client, where no server runs: a null pointer (jack/jack.h)."""

    restype: Any = None

    def __call__(self, *_: object) -> None:
        """No client."""


@pytest.mark.parametrize("opened", ["names", "open_in", "open_out"])
def test_rtmidi2_fails_where_no_server_answers(monkeypatch: pytest.MonkeyPatch, opened: str) -> None:
    """rtmidi2 lists nothing without a JACK server and ends the process that makes a port: we ask for the server first."""
    monkeypatch.setattr(adapter, "_any_jack", lambda: SimpleNamespace(jack_client_open=NoServer()))
    system = Rtmidi2(library(SecondClient), "jack")
    calls = {
        "names": lambda: system.names(inputs=True),
        "open_in": lambda: system.open_in("mine", virtual=True),
        "open_out": lambda: system.open_out("mine", virtual=True),
    }

    with pytest.raises(PortError, match=r"^MIDI devices \(jack\): the system offers none: no JACK server answers"):
        calls[opened]()


def test_rtmidi2_asks_a_child_where_the_system_has_no_jack_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a library to ask with, a child makes a port first; a child that lives is asked once, one that dies again."""
    asked: list[int] = []

    def dies(code: int) -> None:
        asked.append(code)
        raise OSError("ended")

    monkeypatch.setattr(adapter, "_any_jack", lambda: None)
    monkeypatch.setattr(adapter, "probe_in_child", dies)
    adapter._probe_once.cache_clear()
    system = Rtmidi2(library(SecondClient), "jack")
    for _ in range(2):
        with pytest.raises(PortError, match="no JACK server answers"):
            system.names(inputs=True)
    monkeypatch.setattr(adapter, "probe_in_child", asked.append)

    assert NAMES == system.names(inputs=True) == system.names(inputs=True)
    assert [3, 3, 3] == asked
    adapter._probe_once.cache_clear()


@pytest.mark.live
def test_probe_reports_a_child_that_dies() -> None:
    """Where making a client ends the process (here: the library is missing), the probe says so instead."""
    try:
        import rtmidi2  # noqa: F401
    except ImportError:
        with pytest.raises(OSError, match="ended the process that asked"):
            probe_in_child(0)


def test_missing_libraries_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither library: one line that says which to install."""
    monkeypatch.setitem(__import__("sys").modules, "rtmidi", None)
    monkeypatch.setitem(__import__("sys").modules, "rtmidi2", None)
    with pytest.raises(PortError, match=r"no library to reach them .*pip install python-rtmidi"):
        load_system("")


def test_second_library_is_taken_where_the_first_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """rtmidi2 is used where python-rtmidi cannot be imported."""
    monkeypatch.setitem(__import__("sys").modules, "rtmidi", None)
    monkeypatch.setitem(__import__("sys").modules, "rtmidi2", library(SecondClient))

    assert isinstance(load_system("jack"), Rtmidi2)
