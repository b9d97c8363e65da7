"""The set-up screen as text: what is played, what is heard, what is known of the gear, and a few words of care.

Inside: `ROWS`, `draw_setup`, `SETUP_KEYS`, `LEARN_KEYS`, `SETUP_HELP`, `learning_words`.
"""

from heeltap.core.keys import key_name
from heeltap.jobs.drill_text import Line, Span
from heeltap.jobs.setting_up import SetUp, pads_text
from heeltap.live.inputs import KEYS_NAME
from heeltap.live.learning import Ask, Counted, Effect, Taken, Took
from heeltap.tui.keys import BACK, HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, page, room_of, wrapped_lines

__all__ = ["LEARN_KEYS", "ROWS", "SETUP_HELP", "SETUP_KEYS", "draw_setup", "learning_words"]

ROWS = ("input", "output", "pads", "start", "stop", "repeat")
"""What can be changed, in order."""

SETUP_KEYS = (
    Key("enter", "change", "the next choice for the chosen line; for pads: learn them by hitting"),
    MOVE,
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

SETUP_HELP = (
    "Everything here is kept in settings.toml. A control is a pedal or a learned pad; it starts, stops or repeats a take "
    "and is never scored. heeltap drill --control takes any key.",
)

_CARE = (
    "Click no louder than needed: 85 dBA is the limit for 8 hours a day, every 3 dB more halves the time. Rest five "
    "minutes every half hour, build up by ten minutes a day at most, never play with pain; if it stays, see a clinician "
    "who knows performing-arts medicine. Not medical advice."
)


def draw_setup(now: SetUp, chosen: int, look: Look, *, message: str = "", learning: bool = False) -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts `ROWS`."""
    body = [_row(at == chosen, *_told(now, name)) for at, name in enumerate(ROWS)]
    body += [[], *_known(now, look)]
    care = wrapped_lines(_CARE, look.width, role="dim")
    room = room_of(look)
    body += [[] for _ in range(room - len(body) - len(care))]
    keys = LEARN_KEYS if learning else SETUP_KEYS
    return page(look, "Set-up", "", [*body[: room - len(care)], *care], keys, message=message)


def _row(chosen: bool, name: str, value: str, hint: str) -> Line:
    head = f"{'>' if chosen else ' '} {name:<12}"
    return [Span(head, "now" if chosen else "head"), Span(f" {value}"), Span(f"  {hint}" if hint else "", "dim")]


def _told(now: SetUp, name: str) -> tuple[str, str, str]:
    """Label, value and hint of one row."""
    if name == "input":
        value = " and ".join(now.in_use) or "none"
        kept = now.stored.in_ports
        hint = (
            "the first that is found"
            if not kept
            else ""
            if set(kept) <= set(now.in_use)
            else "the chosen one is not there"
        )
        return "play on", "the computer's keyboard" if value == KEYS_NAME else value, f"({hint})" if hint else ""
    if name == "output":
        hint = "" if now.stored.out_port else "(the first that is found)"
        return "click to", now.click_to or "nothing: only seen", hint
    if name == "pads":
        return "pads", pads_text(now.pads) or "none learned", "" if now.pads else "(enter: learn by hitting)"
    return f"{name} with", now.stored.controls.get(name, "") or "nothing", "" if name != "start" else "(hands-free)"


def _known(now: SetUp, look: Look) -> list[Line]:
    """What is known of the route, and how to know more."""
    route = now.route
    if route.delay_ms is not None:
        sure = "" if route.uncertainty_ms is None else f" {look.marks.plus_minus} {route.uncertainty_ms:.1f}"
        delay = f"delay {route.delay_ms:.1f}{sure} ms ({route.method}), taken away from every offset"
    else:
        delay = route.note or "delay not known, so early and late may be the gear's: heeltap calibrate"
    test = route.selftest or "clock and clicks not tested on this route: heeltap selftest"
    sound = "click wood, velocity 110: heeltap drill --click-notes, --click-velocity"
    told = [line for text in (delay, test, sound) for line in wrapped_lines(text, look.width)]
    return told + ([[], *wrapped_lines(now.problem, look.width, role="out")] if now.problem else [])


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
