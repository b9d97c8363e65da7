"""Which ports a drill uses when nobody says.

Inside: `choose_ports`, `choose_inputs`, `stable_ports`, `real_ports`, `own_sound`, `is_device`.
"""

from collections.abc import Sequence

from heeltap.devices.inputs import FAKE, KEYS_NAME
from heeltap.devices.names import find_port
from heeltap.devices.systems import PortName, list_ports
from heeltap.errors import HeeltapError, PortError, sentence
from heeltap.sound.audio_out import AUDIO, audio_found

__all__ = ["NO_PORT", "choose_inputs", "choose_ports", "is_device", "own_sound", "real_ports", "stable_ports"]

NO_PORT = "none"
"""As an output: no sound."""

_THROUGH = "midi through"
"""Linux' own loop from output to input: nobody plays it."""


def choose_ports(in_port: str | None, out_port: str | None) -> tuple[str, str | None]:
    """The input and the output to open; the output is None for a silent click.

    Parameters
    ----------
    in_port : str or None
        A name, ``keys``, ``fake:...``; None is the first real input.
    out_port : str or None
        A name or ``none``; None is the output of the device that is played, else the first real one, else the computer's
        own sound, else silence.

    Raises
    ------
    PortError
        No input was named and there is none; it says what to do.
    """
    if in_port is None:
        inputs = _real(_ports(inputs=True))
        if not inputs:
            raise PortError(
                sentence(
                    "MIDI input",
                    "no keyboard or pads found",
                    "a MIDI device, or --in keys to play on the computer's keyboard",
                    "heeltap ports lists what there is",
                )
            )
        in_port = inputs[0].stable
    if out_port is not None:
        return in_port, None if out_port == NO_PORT else out_port
    try:
        outputs = _real(_ports(inputs=False))
    except PortError:
        return in_port, own_sound()
    names = [port.stable for port in outputs]
    if in_port in names:
        return in_port, in_port
    return in_port, names[0] if names else own_sound()


def own_sound() -> str | None:
    """The computer's own sound as an output; None where it has none."""
    return AUDIO if audio_found() else None


def choose_inputs(named: Sequence[str], kept: Sequence[str] = ()) -> tuple[str, ...]:
    """The inputs to open: those that are named, else those of the settings that are plugged in; empty is the first.

    Raises `PortError` where one device is named twice.
    """
    if not named:
        return tuple(name for name in kept if not is_device(name) or _is_listed(name))
    whole = [stable_ports(name, None)[0] for name in named]
    twice = next((name for number, name in enumerate(whole) if name in whole[:number]), None)
    if twice is not None:
        raise PortError(sentence("MIDI inputs", f"'{twice}' twice", "each input once"))
    return tuple(named)


def _is_listed(name: str) -> bool:
    """Whether a device of this name is plugged in."""
    try:
        find_port(name, [port.full for port in list_ports()[0]])
    except PortError:
        return False
    return True


def stable_ports(in_port: str, out_port: str | None) -> tuple[str, str]:
    """The names under which a route is kept: stable and whole, whatever beginning was typed; "" for a silent click.

    A name that fits no port is kept as it was typed: opening it says what is wrong.
    """
    wanted = in_port, out_port or ""
    if not any(map(is_device, wanted)):
        return wanted
    try:
        inputs, outputs = list_ports()
    except PortError:
        return wanted
    return _whole(wanted[0], inputs), _whole(wanted[1], outputs)


def real_ports() -> tuple[tuple[str, ...], tuple[str, ...], str]:
    """Stable names of the inputs and of the outputs that a person may play, and why heeltap could not ask for them.

    The reason is empty where it could; without it both lists are what is plugged in.
    """
    try:
        inputs, outputs = list_ports()
    except HeeltapError as error:
        return (), (), str(error)
    return tuple(port.stable for port in _real(inputs)), tuple(port.stable for port in _real(outputs)), ""


def is_device(name: str) -> bool:
    """Whether a name means a real port, not the computer's keyboard, a scripted player or silence."""
    return bool(name) and name != KEYS_NAME and not name.startswith(FAKE)


def _whole(wanted: str, ports: list[PortName]) -> str:
    """The stable name of the port that is meant."""
    if not is_device(wanted):
        return wanted
    try:
        return ports[find_port(wanted, [port.full for port in ports])].stable
    except PortError:
        return wanted


def _ports(*, inputs: bool) -> list[PortName]:
    """What there is; where the machine has no MIDI system at all, the error says what still works."""
    try:
        return list_ports()[0 if inputs else 1]
    except PortError as error:
        raise PortError(f"{error} (to try without: --in keys plays on the computer's keyboard)") from error


def _real(ports: list[PortName]) -> list[PortName]:
    return [port for port in ports if _THROUGH not in port.full.casefold()]
