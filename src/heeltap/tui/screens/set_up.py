"""The set-up screen: what is played on, what is heard, what heeltap knows of the gear, and a few words of care.

Inside: the model `SetUp`, read by `read_set_up` and changed by `next_input`, `next_output`, `next_control`, `next_click`
and `next_level`; the drawing `draw_set_up`; the screen `SetUpScreen`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.from_settings import route_in_use
from heeltap.app.listen.piece import piece_of_click
from heeltap.app.listen.player_control import PlayerControl, sound_in_use
from heeltap.app.route.ports import NO_PORT, real_ports
from heeltap.app.route.route import Route, route_of
from heeltap.devices.inputs import KEYS_NAME
from heeltap.errors import HeeltapError
from heeltap.files.settings import PadSet, Stored, read_settings, write_settings
from heeltap.gear.selftest import TRUSTED_MS
from heeltap.model.pitch import key_name
from heeltap.sound.click import CLICK_SOUNDS, ClickSound
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, page, room_of, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.pads import LEARN_KEYS, PadLearning
from heeltap.views.bar_sheet import Line, Span

__all__ = [
    "ROWS",
    "SETUP_HELP",
    "SETUP_KEYS",
    "SetUp",
    "SetUpScreen",
    "draw_set_up",
    "label_line",
    "next_click",
    "next_control",
    "next_input",
    "next_level",
    "next_output",
    "pads_text",
    "read_set_up",
]

ROWS = ("input", "output", "click", "level", "pads", "start", "stop", "repeat", "delay", "clock")
"""What can be changed or measured, in order."""

SETUP_KEYS = (
    Key(
        "enter",
        "change",
        "the next choice for the chosen line; for pads, delay and clock enter begins to learn or measure",
    ),
    MOVE,
    Key("l", "listen", "two bars of the click as it is set"),
    Key("r", "look again", "look for ports again"),
    BACK,
    HELP,
    QUIT,
)

SETUP_HELP = (
    "heeltap keeps all of this in settings.toml. A control is a pedal or a learned pad that starts, stops or repeats a take; "
    "heeltap never scores it. heeltap drill --control takes any key.",
)

_CARE = (
    "Click no louder than needed: 85 dBA is the limit for 8 hours a day, every 3 dB more halves the time. Rest five "
    "minutes every half hour, build up by ten minutes a day at most, never play with pain; if it stays, see a clinician "
    "who knows performing-arts medicine. Not medical advice."
)

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
    """The inputs that are plugged in."""
    outputs: tuple[str, ...] = ()
    """The outputs that are plugged in."""
    in_use: tuple[str, ...] = ()
    """The inputs that a drill would open now."""
    click_to: str | None = None
    """The output that it would open; None for a click that the player only sees."""
    route: Route = field(default_factory=Route)
    problem: str = ""
    """What heeltap could not read or open, and why; empty when all is well."""

    @property
    def pads(self) -> PadSet | None:
        """The learned pads of the first input in use."""
        name = (self.in_use or ("",))[0].casefold()
        return next((one for one in self.stored.pads if name.startswith(one.port.casefold())), None)

    @property
    def delay_wanted(self) -> bool:
        """Whether a device is played whose delay nobody has measured."""
        devices = bool(self.in_use) and self.in_use[0] != KEYS_NAME
        return devices and self.route.delay_ms is None and not self.problem


def read_set_up() -> SetUp:
    """How things are set up now; an error becomes the ``problem`` of what is returned."""
    inputs, outputs, problem = real_ports()
    found = SetUp(inputs=inputs, outputs=outputs, problem=problem)
    try:
        found = replace(found, stored=read_settings())
        in_use, click_to = route_in_use()
        found = replace(found, in_use=in_use, click_to=click_to)
        found = replace(found, route=route_of(in_use[0], click_to))
        kept_sound(found.stored)
        return found
    except HeeltapError as error:
        return replace(found, problem=str(error))


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


def draw_set_up(now: SetUp, chosen: int, look: Look, *, message: str = "", learning: bool = False) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts `ROWS`."""
    body = [label_line(at == chosen, *_told(now, name, look)) for at, name in enumerate(ROWS)]
    known = wrapped_lines(_known(now, ROWS[chosen]), look.width)
    problem = wrapped_lines(now.problem, look.width, role="out") if now.problem else []
    care = wrapped_lines(_CARE, look.width, role="dim")
    room = room_of(look)
    body = [*body, [], *(problem or known)][:room]
    if len(body) + len(care) <= room:  # care is the first to go where a line has much to say
        body += [[] for _ in range(room - len(body) - len(care))] + care
    return page(look, "Set-up", "", body, LEARN_KEYS if learning else SETUP_KEYS, message=message)


def label_line(chosen: bool, name: str, value: str, hint: str) -> Line:
    """A line with a label, a value and a hint; the chosen one begins with a mark."""
    head = f"{'>' if chosen else ' '} {name:<12}"
    return [Span(head, "now" if chosen else "head"), Span(f" {value}"), Span(f"  {hint}" if hint else "", "dim")]


def _told(now: SetUp, name: str, look: Look) -> tuple[str, str, str]:
    """Label, value and hint of one row."""
    stored = now.stored
    if name == "input":
        return "play on", _input(now), _input_hint(now)
    if name == "output":
        hint = "" if stored.out_port else "(the first that is found)"
        return "click to", now.click_to or "nothing: only seen", hint
    if name == "click":
        channel = "" if stored.click_channel is None else f"channel {stored.click_channel}"
        return "click", stored.click_notes or "wood", channel
    if name == "level":
        level = ClickSound().loudest if stored.click_velocity is None else stored.click_velocity
        return "click level", f"velocity {level}", ""
    if name == "pads":
        return "pads", pads_text(now.pads) or "none learned", "" if now.pads else "(enter: learn by hitting)"
    if name == "delay":
        return "delay", _delay(now, look), ""
    if name == "clock":
        trusted = {
            None: "not tested",
            True: f"tested: 99 of 100 notes within {TRUSTED_MS:g} ms",
            False: "tested: NOT good enough for scores",
        }
        return "own clock", trusted[now.route.trusted], ""
    return f"{name} with", stored.controls.get(name, "") or "nothing", "" if name != "start" else "(hands-free)"


def _input(now: SetUp) -> str:
    value = " and ".join(now.in_use) or "none"
    return "the computer's keyboard" if value == KEYS_NAME else value


def _input_hint(now: SetUp) -> str:
    kept = now.stored.in_ports
    if not kept:
        return "(the first that is found)"
    return "" if set(kept) <= set(now.in_use) else "(the chosen one is not there)"


def _delay(now: SetUp, look: Look) -> str:
    route = now.route
    if route.delay_ms is None:
        return "not known"
    sure = "" if route.uncertainty_ms is None else f" {look.glyphs.plus_minus} {route.uncertainty_ms:.1f}"
    return f"{route.delay_ms:.1f}{sure} ms ({route.method})"


def _known(now: SetUp, row: str) -> str:
    """What is known about a line, and what enter does there, in a few words."""
    route = now.route
    texts = {
        "input": "What you play on. Enter: the next one that is plugged in, the computer's keyboard, or whichever comes first.",
        "output": "Where the click goes: a MIDI device that sounds, 'audio' for the computer's own sound, or nowhere.",
        "click": "How the click sounds; other keys and channels by hand: [click] in settings.toml.",
        "level": "How loud the click is: its MIDI velocity. No louder than needed.",
        "pads": "Which pad is which: exercises then use your own pads.",
        "delay": route.note
        or (
            "heeltap does not know it, so the gear may make you early or late. Enter: measure it."
            if route.delay_ms is None
            else "heeltap takes it away from every stroke. Enter: measure it again."
        ),
        "clock": route.selftest or "How exactly this computer sends clicks and times your strokes. Enter: test it.",
    }
    return texts.get(row, "A pedal or a learned pad, so that your hands stay on the keys.")


_CHANGES: Mapping[str, Callable[[SetUp], None]] = {
    "input": next_input,
    "output": next_output,
    "click": next_click,
    "level": next_level,
    "start": lambda now: next_control(now, "start"),
    "stop": lambda now: next_control(now, "stop"),
    "repeat": lambda now: next_control(now, "repeat"),
}


class SetUpScreen(QuietScreen):
    """What the player plays on and hears, and what heeltap knows of the gear."""

    name = "set-up"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self.now = SetUp()
        self._pads = PadLearning(host)
        self._listening = PlayerControl(lambda: sound_in_use()[0])
        self._seen = False
        """Whether the player has seen the screen: the first time the delay is chosen where it is not known."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """While it learns pads, those that answer its questions."""
        return LEARN_KEYS if self._pads.on else SETUP_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """Where heeltap keeps it."""
        return SETUP_HELP

    @property
    def moves(self) -> bool:
        """Not while it learns pads."""
        return not self._pads.on

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Change the chosen line; while it learns pads, answer its question."""
        if self._pads.on:
            return {"enter": self._pads.skip, "b": self._pads.undo}
        return {"enter": self._change, "r": self.look_again, "l": self._listen}

    @property
    def count(self) -> int:
        """The lines that the player can change."""
        return len(ROWS)

    def draw(self, look: Look, message: str) -> list[Line]:
        """Every line, what is known of the chosen one, a few words of care."""
        told = message or self._listening.problem
        return draw_set_up(self.now, self.at, look, message=told, learning=self._pads.on)

    def look_again(self) -> None:
        """Read ports and settings."""
        self.host.work("set-up", read_set_up)

    def take_in(self, work: str, found: object) -> None:
        """Show how things are now, or say which pads it learned."""
        if isinstance(found, SetUp):
            self.now = found
            if not self._seen and found.delay_wanted:
                self.at = ROWS.index("delay")
            self._seen = True
        elif work == "learn":
            self._pads.on = False
            self.host.say(str(found), stays=True)
            self.look_again()

    def failed(self, work: str) -> None:
        """Learn no more pads."""
        self._pads.on = self._pads.on and work != "learn"

    @property
    def lively(self) -> bool:
        """While it learns pads, and while the click sounds."""
        return self._pads.on or self._listening.on

    def turn(self) -> None:
        """Follow the click that the player tries."""
        self._listening.turn()

    def back(self) -> None:
        """Stop learning pads; where it learns none, go to the start screen."""
        if self._pads.on:
            self._pads.break_off()
        else:
            self._listening.stop()
            self.host.go("start")

    def leave(self) -> None:
        """Give every port back."""
        self._pads.break_off()
        self._listening.free()

    def _listen(self) -> None:
        """Play two bars of the click as it is set."""
        self._listening.begin(lambda: piece_of_click(sound_in_use()[1]))

    def _change(self) -> None:
        """Take the next choice for the chosen line, or show the screen that it leads to."""
        what = ROWS[self.at]
        if what == "pads":
            self._learn()
        elif what in ("delay", "clock"):
            self._listening.stop()
            self.host.go(what)
        else:
            try:
                _CHANGES[what](self.now)
            except HeeltapError as error:
                self.host.say(str(error), stays=True)
            self.look_again()
            if what in ("output", "click", "level"):
                self._listen()

    def _learn(self) -> None:
        """Learn the pads of the input in use."""
        port = (self.now.in_use or ("",))[0]
        if not port or port == KEYS_NAME:
            self.host.say("heeltap learns pads from a device: plug one in and press r")
            return
        self._pads.begin(port)
