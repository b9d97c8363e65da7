"""What heeltap knows of a route when a drill begins: its delay, its self-test, and whether it can score it at all.

Inside: `Route`, `route_of`, `tested`, `refuse_wireless`.
"""

from dataclasses import dataclass, replace

from heeltap.app.route.ports import is_device, stable_ports
from heeltap.devices.wireless import WHY, is_wireless
from heeltap.errors import PortError, sentence
from heeltap.files.calibrations import Selftested, calibrations, selftests
from heeltap.gear.delay import FEEL
from heeltap.sound.audio import sound_buffer

__all__ = ["Route", "refuse_wireless", "route_of", "tested"]


@dataclass(frozen=True, slots=True)
class Route:
    """What is known of the ports of a drill when it begins."""

    delay_ms: float | None = None
    """Taken away from every offset; None when not known."""
    uncertainty_ms: float | None = None
    """95 % half-width; None when not known."""
    method: str = "none"
    """As in `heeltap.model.result.Calibration`."""
    note: str = ""
    """Why an earlier calibration does not hold, for the player; empty when there is nothing to say."""
    selftest: str = ""
    """The self-test of these ports or, without one, of this machine, in one line; empty when there was none."""
    trusted: bool | None = None
    """What that self-test says of scores; None when there was none."""


def route_of(in_port: str, out_port: str | None, *, given_ms: float | None = None) -> Route:
    """What is known of a route.

    Parameters
    ----------
    in_port, out_port : str
        As a drill opens them.
    given_ms : float, optional
        A delay that the player names; it goes before anything that is kept.

    Raises
    ------
    PortError
        The route is wireless by name, and no self-test says that it is good all the same.
    StoreError
        What is kept cannot be read.
    """
    tests, kept = selftests(), calibrations()
    names = stable_ports(in_port, out_port)
    refuse_wireless(*names, tests)
    row = tested(*names, tests)
    told = Route() if row is None else Route(selftest=f"{row.date[:10]}: {row.summary}", trusted=row.trusted)
    if given_ms is not None:
        return replace(told, delay_ms=given_ms, method="given")
    mine = [one for one in kept if (one.in_port, one.out_port) == names]
    judging = next((one for one in mine if one.method != FEEL), None)
    if judging is not None:
        now = sound_buffer() if judging.buffer else ""
        if judging.buffer and now and now != judging.buffer:
            changed = f"You calibrated these ports with a sound buffer of {judging.buffer}, and it is {now} now"
            return replace(told, note=f"{changed}: calibrate again (heeltap calibrate)")
        sure = judging.uncertainty_ms
        return replace(told, delay_ms=judging.delay_ms, uncertainty_ms=sure, method=judging.method)
    if mine:
        return replace(told, method=FEEL)
    others = [one for one in kept if one.method != FEEL]
    if others and is_device(in_port):
        return replace(told, note="You calibrated other ports than these: calibrate again (heeltap calibrate)")
    return told


def tested(in_port: str, out_port: str, rows: list[Selftested]) -> Selftested | None:
    """The newest self-test of these ports, else, for a real input, the newest without ports."""
    mine = [row for row in rows if (row.in_port, row.out_port) == (in_port, out_port)]
    machine = [row for row in rows if row.loop != "ports"] if is_device(in_port) else []
    return next(iter([*mine, *machine]), None)


def refuse_wireless(in_port: str, out_port: str, rows: list[Selftested]) -> None:
    """Raise `PortError` for a port that goes through the air, unless a self-test of exactly these ports was good."""
    good = any(row.trusted and (row.in_port, row.out_port) == (in_port, out_port) for row in rows)
    for what, name in (("input", in_port), ("output", out_port)):
        if is_wireless(name) and not good:
            hint = "a self-test of these ports within 3 ms allows them: heeltap selftest --in ... --out ..."
            raise PortError(sentence(f"{what} '{name}'", WHY, "a cable", hint))
