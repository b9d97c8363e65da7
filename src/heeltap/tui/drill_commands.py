"""What each key of the drill screen does, by what the screen shows: the question, what sounds, or the drill itself.

Inside: `GUESS_COMMANDS`, `DRILL_COMMANDS`.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from heeltap.app.drill.changes import faster, for_pads, simpler, slower
from heeltap.app.drill.ranges import drill_bars
from heeltap.session.session import Pause, Phase, Resume

if TYPE_CHECKING:
    from heeltap.tui.drill_app import DrillApp

__all__ = ["DRILL_COMMANDS", "GUESS_COMMANDS"]

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
    "r": lambda app: app.action_again(),
    "tab": lambda app: app.action_turn_page(),
    "minus": lambda app: app.action_change(slower, goes_on=True),
    "plus": lambda app: app.action_change(faster, goes_on=True),
    "m": lambda app: app.action_change(lambda drill: for_pads(simpler(drill), app.settings)),
    "u": lambda app: app.action_measure(),
    "w": _take_worst,
    "x": lambda app: app.action_next(),
    "question_mark": lambda app: app.help_screen.open(),
}
"""Before, while and after something is played; a key does nothing where `DrillApp.keys_now` does not list it."""
