"""The set-up screen and the measuring screens as text: what is played, what is heard, what is known of the gear, and a few
words of care.

Inside: `ROWS`, `draw_setup`, `draw_measure`, `learning_words`, and their keys and help.
"""

from collections.abc import Sequence

from heeltap.app.route.setup import SetUp, pads_text
from heeltap.app.route.ways import Way
from heeltap.devices.inputs import KEYS_NAME
from heeltap.gear.selftest import TRUSTED_MS
from heeltap.model.pitch import key_name
from heeltap.session.pad_learning import Ask, Counted, Effect, Taken, Took
from heeltap.sound.click import ClickSound
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, page, room_of, wrapped_lines
from heeltap.views.bar_sheet import Line, Span

__all__ = [
    "LEARN_KEYS",
    "MEASURE_KEYS",
    "MEASURING_KEYS",
    "ROWS",
    "SETUP_HELP",
    "SETUP_KEYS",
    "draw_measure",
    "draw_setup",
    "learning_words",
]

ROWS = ("input", "output", "click", "level", "pads", "start", "stop", "repeat", "delay", "clock")
"""What can be changed or measured, in order."""

SETUP_KEYS = (
    Key(
        "enter",
        "change",
        "the next choice for the chosen line; pads are learned by hitting them, delay and clock measured",
    ),
    MOVE,
    Key("l", "listen", "two bars of the click as it is set"),
    Key("r", "look again", "look for ports again"),
    BACK,
    HELP,
    QUIT,
)

LEARN_KEYS = (
    Key("enter", "there is none", "skip this pad"),
    Key("b", "one back", "ask for the pad before again"),
    Key("escape", "break off", "stop learning; nothing is changed", "esc"),
)
"""While pads are learned."""

MEASURE_KEYS = (Key("enter", "begin", "measure in the chosen way, and keep what is found"), MOVE, BACK, HELP, QUIT)

MEASURING_KEYS = (Key("escape", "break off", "stop measuring; nothing is kept", "esc"), HELP, QUIT)
"""While something is measured."""

SETUP_HELP = (
    "Everything here is kept in settings.toml. A control is a pedal or a learned pad; it starts, stops or repeats a take "
    "and is never scored. heeltap drill --control takes any key.",
)

_CARE = (
    "Click no louder than needed: 85 dBA is the limit for 8 hours a day, every 3 dB more halves the time. Rest five "
    "minutes every half hour, build up by ten minutes a day at most, never play with pain; if it stays, see a clinician "
    "who knows performing-arts medicine. Not medical advice."
)

_BAR = 40
"""Columns of the bar that shows how far something is."""


def draw_setup(now: SetUp, chosen: int, look: Look, *, message: str = "", learning: bool = False) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts `ROWS`."""
    body = [_row(at == chosen, *_told(now, name, look)) for at, name in enumerate(ROWS)]
    known = wrapped_lines(_known(now, ROWS[chosen]), look.width)
    problem = wrapped_lines(now.problem, look.width, role="out") if now.problem else []
    care = wrapped_lines(_CARE, look.width, role="dim")
    room = room_of(look)
    body = [*body, [], *(problem or known)][:room]
    if len(body) + len(care) <= room:  # care is the first to go where a line has much to say
        body += [[] for _ in range(room - len(body) - len(care))] + care
    return page(look, "Set-up", "", body, LEARN_KEYS if learning else SETUP_KEYS, message=message)


def draw_measure(
    title: str,
    ways: Sequence[Way],
    chosen: int,
    look: Look,
    told: Sequence[str],
    done: float | None,
    *,
    message: str = "",
) -> list[Line]:
    """A screen that measures, exactly ``look.height`` lines: the ways, how the chosen one goes, how far it is (``done``,
    0-1; None while nothing is measured), and what came of the last."""
    body = [_row(at == chosen, way.name, "", "") for at, way in enumerate(ways)]
    if not ways:
        body = wrapped_lines("Nothing to measure here: plug in a keyboard or pads, and press esc, then r.", look.width)
    else:
        body += [[], *wrapped_lines(ways[chosen].how, look.width)]
    if done is not None:
        full = round(done * _BAR)
        body += [[], [Span(f"  [{'=' * full}{' ' * (_BAR - full)}] {100 * done:.0f} %", "head")]]
    result = [
        line
        for text in told
        for line in (wrapped_lines(text, look.width) if len(text) > look.width - 4 else [_plain(text)])
    ]
    body += [[], *result] if result else []
    return page(look, title, "", body, MEASURE_KEYS if done is None else MEASURING_KEYS, message=message)


def _plain(text: str) -> Line:
    return [Span(f"  {text}")]


def _row(chosen: bool, name: str, value: str, hint: str) -> Line:
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
        "pads": "Which pad is which: exercises are then played on your pads.",
        "delay": route.note
        or (
            "Not known, so early and late may be the gear's. Enter: measure it."
            if route.delay_ms is None
            else "Taken away from every offset. Enter: measure it anew."
        ),
        "clock": route.selftest or "How exactly clicks leave and strokes are stamped on this machine. Enter: test it.",
    }
    return texts.get(row, "A pedal or a learned pad, so that the hands stay on the keys.")


def learning_words(effect: Effect) -> str:
    """A question or an answer while pads are learned; empty for what needs no words."""
    match effect:
        case Ask(role):
            return f"{role}: hit its pad twice"
        case Counted(role, key, _):
            return f"{role}: key {key} ({key_name(key)}); once more to be sure"
        case Took(role, key):
            return f"{role} is key {key} ({key_name(key)})"
        case Taken(role, key, other):
            return f"key {key} ({key_name(key)}) is the {other} already; hit another pad for {role}"
    return ""
