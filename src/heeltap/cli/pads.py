"""``heeltap pads``: learn which key each pad sends, show what was learned, forget it."""

import argparse
import sys
from collections.abc import Callable
from typing import Any

from heeltap.cli.options import milliseconds
from heeltap.cli.parser import Commands
from heeltap.errors import PlanError, sentence
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "pads",
        help="learn which key each pad sends",
        description="Hit your pads once, and heeltap learns which is which. Exercises for pads then use your own keys, and you "
        "can start and stop a drill with a pad.",
        epilog="learn asks for each pad in turn: hit it twice. Return skips one, b and Return goes back, Ctrl-C breaks off and "
        "changes nothing. heeltap keeps what it learned in settings.toml, which you may edit by hand.",
        example='heeltap pads learn kick snare hat --in "Drum Pads"',
    )
    parser.add_argument("action", choices=("learn", "show", "forget"), help="learn, show or forget")
    parser.add_argument(
        "roles",
        nargs="*",
        metavar="ROLE",
        help="for learn: what to ask for (default: kick, snare, hat, ride, crash, tom, 'low tom', rim)",
    )
    parser.add_argument("--in", dest="in_port", metavar="PORT", help="the pads (default: the first input; forget: all)")
    parser.add_argument(
        "--retrigger",
        action="append",
        default=[],
        metavar="ROLE=MS",
        help="for learn: how long a second note of one pad is a double trigger, such as snare=45 (default: as in the drill)",
    )


def run(args: argparse.Namespace) -> int:
    """Learn, show or forget; 130 when learning was broken off."""
    if args.action == "show":
        return _show()
    if args.action == "forget":
        return _forget(args.in_port)
    return _learn(args)


def _show() -> int:
    from heeltap.files.settings import read_settings
    from heeltap.model.pitch import key_name

    stored = read_settings()
    if not stored.pads:
        print("No pads are learned yet (heeltap pads learn).")
    for pads in stored.pads:
        print(safe_line(pads.port))
        for role, key in pads.keys.items():
            window = f", double triggers within {pads.retrigger_ms[role]:g} ms" if role in pads.retrigger_ms else ""
            print(safe_line(f"  {role}: key {key} ({key_name(key)}){window}"))
    return 0


def _forget(port: str | None) -> int:
    from heeltap.files.settings import read_settings, without_pads, write_settings

    stored = read_settings()
    left = without_pads(stored, port)
    count = len(stored.pads) - len(left.pads)
    if count:
        write_settings(left)
    print(f"Forgot the pads of {count} device{'' if count == 1 else 's'}.")
    return 0


def _learn(args: argparse.Namespace) -> int:
    from heeltap.app.drill.run import interrupts
    from heeltap.app.route.pads import keep_pads, learn_pads
    from heeltap.app.route.ports import choose_ports
    from heeltap.session.pad_learning import ROLES

    roles = tuple(dict.fromkeys(args.roles)) or ROLES
    windows = _windows(args.retrigger, roles)
    in_port, _ = choose_ports(args.in_port, "none")
    with interrupts() as interrupted:
        keys = learn_pads(in_port, roles, _tell, asked=_lines(), interrupted=interrupted.is_set)
        if interrupted.is_set():
            print("You broke off; heeltap changed nothing.")
            return 130
    if not keys:
        print("heeltap learned no pad and changed nothing.")
        return 0
    where = keep_pads(in_port, keys, {role: ms for role, ms in windows.items() if role in keys})
    print(f"Kept {len(keys)} pad{'' if len(keys) == 1 else 's'} of {in_port} in {where}")
    return 0


def _windows(options: list[str], roles: tuple[str, ...]) -> dict[str, float]:
    """``snare=45`` and the like; raises `PlanError`."""
    found: dict[str, float] = {}
    for option in options:
        role, equals, text = option.partition("=")
        try:
            value = milliseconds(text)
        except argparse.ArgumentTypeError:
            value = -1.0
        if not equals or role not in roles or not 0 <= value <= 200:
            raise PlanError(sentence("--retrigger", f"'{option}'", f"ROLE=MS, 0 to 200 ms, ROLE of {', '.join(roles)}"))
        found[role] = value
    return found


def _tell(effect: Any) -> None:
    """One line for each question and answer."""
    from heeltap.model.pitch import key_name
    from heeltap.session.pad_learning import Ask, Counted, Taken, Took

    match effect:
        case Ask(role):
            text = f"{role}: hit this pad twice (Return: you have none)"
        case Counted(role, key, _):
            text = f"  key {key} ({key_name(key)}); once more to be sure"
        case Took(role, key):
            text = f"  {role} is key {key} ({key_name(key)})"
        case Taken(role, key, other):
            text = f"  key {key} ({key_name(key)}) is the {other} already; hit another pad for {role}"
        case _:
            return
    print(text, flush=True)


def _lines() -> "Callable[[], Any]":
    """Asks whether the player typed Return (skip) or b (back); never waits."""
    import queue
    import threading

    from heeltap.session.pad_learning import Skip, Undo

    typed: queue.SimpleQueue[str] = queue.SimpleQueue()
    if not sys.stdin.isatty():
        return lambda: None

    def read() -> None:
        for line in sys.stdin:
            typed.put(line.strip().lower())

    threading.Thread(target=read, name="typed", daemon=True).start()

    def asked() -> Any:
        try:
            return Undo() if typed.get_nowait() == "b" else Skip()
        except queue.Empty:
            return None

    return asked
