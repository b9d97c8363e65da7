"""Running the screens: a drill by itself, or start, drill and back again until the player leaves.

Each screen is an app of its own, so that a fault of one gives the terminal back and loses nothing of another.

Inside: `run_drill`, `run_home`, `mouse_wanted`.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.from_settings import prepared
from heeltap.app.drill.run import DrillOutcome, Settings, interrupts
from heeltap.app.drill.where_kept import where_kept
from heeltap.app.takes.finish_take import recover
from heeltap.engine.terminal_rescue import terminal_now, watched
from heeltap.errors import HeeltapError
from heeltap.files.paths import takes_dir
from heeltap.files.result_json import to_json
from heeltap.tui.drill_app import DrillApp
from heeltap.tui.menu_app import MenuApp
from heeltap.write import write_whole

__all__ = ["mouse_wanted", "run_drill", "run_home"]


def mouse_wanted() -> bool:
    """Whether the mouse is read; ``HEELTAP_MOUSE=off`` leaves it to the terminal, for marking and copying text."""
    return os.environ.get("HEELTAP_MOUSE", "").strip().casefold() not in ("off", "0", "no")


@contextmanager
def _own_screen() -> Iterator[None]:
    """Let the screen be drawn through a descriptor of its own while this lasts.

    Textual draws on stderr. While ports are looked for, what C libraries write to descriptor 2 goes nowhere, and what is
    drawn at that moment would go with it.
    """
    before = sys.__stderr__
    try:
        number = os.dup(2)
    except OSError:  # no such descriptor
        number = -1
    if before is None or number < 0:
        yield
        return
    with open(number, "w", encoding=before.encoding, errors="replace") as own:
        sys.__stderr__ = own  # type: ignore[misc]
        try:
            yield
        finally:
            sys.__stderr__ = before  # type: ignore[misc]


def run_drill(
    drill: Drill,
    settings: Settings,
    *,
    json: str | None = None,
    at_once: bool = False,
    leave_at_end: bool = False,
    kept: bool = True,
    guess: bool = False,
) -> int:
    """Show the drill screen until the player leaves; returns the exit code.

    Whatever ends it, the terminal is as it was and the take is kept: the last thing printed says where, unless ``kept`` is
    False, as for a demo, whose take is thrown away.
    """
    app, code = _drill(drill, settings, at_once=at_once, leave_at_end=leave_at_end, kept=kept, guess=guess)
    if app.wants_delay:
        code = _screens("delay")
    if json and app.outcomes and (result := app.outcomes[-1].result) is not None:
        write_whole(json, to_json(result, indent=True))
    return code


def _drill(
    drill: Drill, settings: Settings, *, at_once: bool, leave_at_end: bool, kept: bool, guess: bool
) -> tuple[DrillApp, int]:
    """The drill screen that was left, and its exit code."""
    with interrupts() as interrupted:
        app = DrillApp(
            drill,
            replace(settings, terminal=terminal_now()),
            at_once=at_once,
            leave_at_end=leave_at_end,
            guess=guess,
            interrupted=interrupted.is_set,
            encoding=sys.stdout.encoding,
        )
        try:
            with watched(terminal_now()), _own_screen():
                code = app.run(mouse=mouse_wanted())
        finally:
            if app.play is not None:  # the screen broke in the middle of a take
                app.outcomes.append(app.play.finish())
            if kept:
                _say_goodbye(app.outcomes)
    return app, (app.return_code or 0) if code is None else code


def run_home() -> int:
    """Show the start screen, play what is chosen, come back, until the player leaves; returns the exit code."""
    return _screens("start", _recovered())


def _screens(first: str, message: str = "") -> int:
    """The same from the screen of the name ``first`` on, with a message on it."""
    while True:
        with interrupts() as interrupted:
            home = MenuApp(first, message=message, interrupted=interrupted.is_set, encoding=sys.stdout.encoding)
            with watched(terminal_now()), _own_screen():
                choice = home.run(mouse=mouse_wanted())
        if choice is None:
            return home.exit_code or home.return_code or 0
        first, message = "start", ""
        try:
            drill, settings = prepared(choice)
        except HeeltapError as error:
            message = str(error)
            continue
        app, code = _drill(drill, settings, at_once=False, leave_at_end=False, kept=True, guess=False)
        if app.wants_delay:
            first = "delay"
        elif not app.went_back:
            return code


def _recovered() -> str:
    """What became of takes that a killed run left behind, in a line; empty where there were none."""
    try:
        found = recover(takes_dir())
    except HeeltapError as error:
        return str(error)
    lines = [one.problem or f"an earlier drill left a take behind; heeltap finished it: {one.folder}" for one in found]
    return "; ".join(lines)


def _say_goodbye(outcomes: list[DrillOutcome]) -> None:
    """Where the takes are, on the terminal as it was before."""
    for outcome in outcomes:
        if outcome.folder is not None:
            sys.stdout.write(f"{where_kept(outcome)}\n")
        if outcome.problem:
            sys.stderr.write(f"heeltap could not keep the whole take: {outcome.problem}\n")
