"""Play take after take with a pedal or a pad and no hand on the computer, in plain lines.

Inside: `play_hands_free`.
"""

import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill
    from heeltap.app.drill.run import Settings

__all__ = ["play_hands_free"]


def play_hands_free(what: "Drill", settings: "Settings", json_file: str | None = None) -> int:
    """Wait for the start, play, wait for the repeat, until a stop or Ctrl-C; returns the last take's exit code.

    Without a start the first take begins at once; without start and repeat it is the only one.
    """
    from heeltap.app.drill.handsfree import wait_for_press
    from heeltap.app.drill.run import interrupts
    from heeltap.cli.lines import play_in_lines

    triggers = settings.player.controls.triggers
    code, wanted = 0, "start" not in triggers
    asked: list[str] = []
    with interrupts() as interrupted:
        while True:
            if not wanted:
                _say_waiting(triggers, json_file)
                if wait_for_press(settings, interrupted.is_set) not in ("start", "repeat"):
                    return 130 if interrupted.is_set() else code
            asked.clear()
            code = play_in_lines(what, settings, json_file, watch=lambda _, new: _note(new, asked))
            wanted = bool(asked)
            if code or interrupted.is_set() or not triggers.keys() & {"start", "repeat"}:
                return 130 if interrupted.is_set() else code


def _note(effects: tuple[Any, ...], asked: list[str]) -> None:
    """Note that the player asked for another take during this one."""
    from heeltap.session.session import Again

    asked.extend("again" for effect in effects if isinstance(effect, Again))


def _say_waiting(triggers: Any, json_file: str | None) -> None:
    """What the player can do now."""
    words = [f"{action}: {triggers[action]}" for action in ("start", "repeat", "stop") if action in triggers]
    stream = sys.stderr if json_file == "-" else sys.stdout
    stream.write(f"Waiting ({', '.join(words)}; Ctrl-C leaves)\n")
    stream.flush()
