"""What each key of the drill screen does, by what the screen shows: the question, what sounds, or the drill itself.

Inside: `GUESS_COMMANDS`, `DRILL_COMMANDS`, `ask_for_split`, `take_split`.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from heeltap.app.drill.changes import faster, for_pads, simpler, slower
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.split import QUESTION, keep_split, split_wanted
from heeltap.errors import HeeltapError
from heeltap.model.pitch import key_name
from heeltap.session.session import Pause, Phase, Resume

if TYPE_CHECKING:
    from heeltap.tui.drill_app import DrillApp

__all__ = ["DRILL_COMMANDS", "GUESS_COMMANDS", "ask_for_split", "take_split"]

Commands = Mapping[str, Callable[["DrillApp"], object]]

_PASSES = 4
"""How often the bars that stood out come in a row: often enough to change something, short enough to listen. Ours."""


def _take_worst(app: "DrillApp") -> None:
    """Take up the bars that stood out, in a loop; where only bars are played, the whole drill again."""
    whole, worst = app.drill.whole, app.after.worst
    if whole is not None:
        app.action_change(lambda _: whole)
    elif worst is not None:
        app.action_change(lambda drill: drill_bars(drill, worst, passes=_PASSES, run_in=worst[0] > 1))


def _pause(app: "DrillApp") -> None:
    """Stop the click and the take; paused, count in and go on from the beginning of the bar."""
    run = app.running
    if run is not None:
        run.resume() if run.state.phase is Phase.PAUSED else run.pause()


def _leave_out(app: "DrillApp") -> None:
    """Judge nothing while the click goes on, or judge again."""
    run = app.running
    if run is not None:
        paused = run.state.phase is Phase.PAUSED
        run.ask(Resume(run.now_us) if paused else Pause(run.now_us))


def _measure(app: "DrillApp") -> None:
    """Leave for the screen that measures the delay of the gear."""
    app.wants_delay = True
    app.action_leave()


def _turn_page(app: "DrillApp") -> None:
    """From the report to the bars and back."""
    if app.play is None:
        app.after.turn_page()


def ask_for_split(app: "DrillApp") -> str:
    """The question where the hands part, where a drill needs to know; empty where it does not."""
    app.listener.wants_key = split_wanted(app.drill, app.settings)
    if not app.listener.wants_key:
        return ""
    app.listener.open()
    return QUESTION


def take_split(app: "DrillApp") -> str:
    """Keep the key that the player struck as the lowest of the right hand; what to say of it, empty where none was struck."""
    key, app.listener.key = app.listener.key, None
    if key is None:
        return ""
    try:
        app.settings = keep_split(app.settings, key)
    except HeeltapError as error:
        return str(error)
    return (
        f"Your right hand begins at {key_name(key)}. heeltap keeps that; heeltap drill --split KEY takes another key."
    )


GUESS_COMMANDS: Commands = {
    "e": lambda app: app.action_guess("early"),
    "o": lambda app: app.action_guess("on"),
    "l": lambda app: app.action_guess("late"),
    "escape": lambda app: app.action_guess(""),
}
"""While the screen asks how the take was."""

DRILL_COMMANDS: Commands = {
    "enter": lambda app: app.begin_take(),
    "l": lambda app: app.action_listen(),
    "escape": lambda app: app.action_escape(),
    "n": lambda app: app.action_numbers(),
    "o": _leave_out,
    "p": _pause,
    "q": lambda app: app.action_leave(),
    "r": lambda app: app.again(),
    "tab": _turn_page,
    "minus": lambda app: app.action_change(slower, goes_on=True),
    "plus": lambda app: app.action_change(faster, goes_on=True),
    "m": lambda app: app.action_change(lambda drill: for_pads(simpler(drill), app.settings)),
    "u": _measure,
    "w": _take_worst,
    "x": lambda app: app.action_next(),
    "question_mark": lambda app: app.help_screen.open(),
}
"""Before, while and after something is played; a key does nothing where `DrillApp.keys_now` does not list it."""
