"""What the set-up screen shows and changes: ports, pads, hands-free controls, the click's sound, what is known of the route.

Inside: `SetUp`, `set_up`, `click_of`, `next_input`, `next_output`, `next_control`, `next_click`, `next_level`, `pads_text`.
"""

from dataclasses import dataclass, field, replace
from typing import TypeVar

from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.from_settings import route_in_use
from heeltap.app.practice.today import real_ports
from heeltap.app.route.ports import NO_PORT
from heeltap.app.route.route import Route, route_of
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import HeeltapError
from heeltap.files.settings import PadSet, Stored, read_settings, write_settings
from heeltap.model.pitch import key_name
from heeltap.sound.click import CLICK_SOUNDS, ClickSound

__all__ = [
    "SetUp",
    "click_of",
    "next_click",
    "next_control",
    "next_input",
    "next_level",
    "next_output",
    "pads_text",
    "set_up",
]

_Choice = TypeVar("_Choice")

_AUDIO = "audio"
"""As an output: the computer's own sound."""

_PEDALS = ("cc64", "cc66", "cc67")
"""Sustain, sostenuto, soft: the pedals that a keyboard has."""

_LEVELS = (50, 65, 80, 95, 110, 127)
"""Velocities of the loudest click, 110 the default (ours)."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """Everything on the set-up screen."""

    stored: Stored = field(default_factory=Stored)
    inputs: tuple[str, ...] = ()
    """Plugged in."""
    outputs: tuple[str, ...] = ()
    in_use: tuple[str, ...] = ()
    """The inputs that a drill would open now."""
    click_to: str | None = None
    """The output that it would open; None is a click that is only seen."""
    route: Route = field(default_factory=Route)
    problem: str = ""
    """What could not be read, or why the route is refused; empty when all is well."""

    @property
    def pads(self) -> PadSet | None:
        """The learned pads of the first input in use."""
        name = (self.in_use or ("",))[0].casefold()
        return next((one for one in self.stored.pads if name.startswith(one.port.casefold())), None)


def set_up() -> SetUp:
    """How things are set up now; never raises, the problem is a line of its own."""
    inputs, outputs, problem = real_ports()
    found = SetUp(inputs=inputs, outputs=outputs, problem=problem)
    try:
        found = replace(found, stored=read_settings())
        in_use, click_to = route_in_use()
        found = replace(found, in_use=in_use, click_to=click_to)
        found = replace(found, route=route_of(in_use[0], click_to))
        click_of(found.stored)
        return found
    except HeeltapError as error:
        return replace(found, problem=str(error))


def click_of(stored: Stored) -> ClickSound:
    """How the click sounds by the settings; raises `PlanError` naming their file where there is no such sound."""
    return kept_sound(stored)


def pads_text(pads: PadSet | None) -> str:
    """Learned pads in a line; empty where there are none."""
    return "" if pads is None else ", ".join(f"{role} {key_name(key)}" for role, key in pads.keys.items())


def next_input(now: SetUp) -> None:
    """Keep the next input: whichever is found first, each that is plugged in, the computer's keyboard."""
    choices = ((), *((name,) for name in now.inputs), (KEYS_NAME,))
    _keep(replace(now.stored, in_ports=_following(choices, now.stored.in_ports)))


def next_output(now: SetUp) -> None:
    """Keep the next output: whichever is found first, each that there is, the computer's own sound, none."""
    _keep(replace(now.stored, out_port=_following(("", *now.outputs, _AUDIO, NO_PORT), now.stored.out_port)))


def next_control(now: SetUp, action: str) -> None:
    """Keep the next control of ``start``, ``stop`` or ``repeat``: none, a pedal, a learned pad."""
    pads = now.pads
    taken = {text for other, text in now.stored.controls.items() if other != action}
    choices = ("", *_PEDALS, *(f"pad {role}" for role in (pads.keys if pads else ())))
    chosen = _following(tuple(one for one in choices if one not in taken), now.stored.controls.get(action, ""))
    kept = {other: text for other, text in now.stored.controls.items() if other != action}
    _keep(replace(now.stored, controls={**kept, action: chosen} if chosen else kept))


def next_click(now: SetUp) -> None:
    """Keep the next sound of the click; keys that were written by hand come first as long as they are the present ones."""
    own = now.stored.click_notes
    names = tuple(CLICK_SOUNDS)
    choices = names if own in ("", *names) else (own, *names)
    _keep(replace(now.stored, click_notes=_following(choices, own or names[0])))


def next_level(now: SetUp) -> None:
    """Keep the next louder click, after the loudest the softest."""
    level = ClickSound().loudest if now.stored.click_velocity is None else now.stored.click_velocity
    _keep(replace(now.stored, click_velocity=next((one for one in _LEVELS if one > level), _LEVELS[0])))


def _following(choices: tuple[_Choice, ...], present: _Choice) -> _Choice:
    """The choice after the present one; the first where the present one is none of them."""
    return choices[(choices.index(present) + 1) % len(choices)] if present in choices else choices[0]


def _keep(stored: Stored) -> None:
    read_settings()  # a file with a mistake is not written over: what it holds was not read, and would be lost
    write_settings(stored)
