"""How you play: on which inputs, where your hands part, how long your pads retrigger, what starts and stops a take.

All of it comes from the settings file; the options of a command come before it.

Inside: `Player`, `player_of`, `pads_for`, `with_learned_pads`, `check_controls`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from heeltap.app.drill.drill import Drill
from heeltap.errors import PlanError, sentence
from heeltap.files.settings import Stored
from heeltap.files.toml.exercises import exercise_from_toml, exercise_to_toml
from heeltap.model.exercise import with_pads
from heeltap.model.pitch import key_of
from heeltap.model.plan import Plan
from heeltap.model.plan_from import plan_of
from heeltap.session.handsfree import ACTIONS, NO_CONTROLS, Controls, Trigger, parse_trigger

__all__ = ["Player", "check_controls", "pads_for", "player_of", "with_learned_pads"]


@dataclass(frozen=True, slots=True)
class Player:
    """What is the player's own, whatever is played."""

    more_in: tuple[str, ...] = ()
    """Inputs beside the first."""
    split_key: int | None = None
    """Lowest key of the right hand; None where hands are not told apart."""
    retrigger_of: Mapping[int, float] = field(default_factory=dict)
    """Double-trigger window of single keys, ms."""
    controls: Controls = NO_CONTROLS


def player_of(
    stored: Stored,
    in_ports: Sequence[str],
    *,
    split: str | None = None,
    control: Sequence[str] = (),
) -> Player:
    """The player by the settings, with what the command line says instead.

    Parameters
    ----------
    stored : Stored
        From `heeltap.files.settings.read_settings`.
    in_ports : sequence of str
        The inputs that are opened, the first one first.
    split : str, optional
        A key, or ``none``.
    control : sequence of str
        ``start=cc64``, ``stop=C#3``, ``repeat=pad crash``; one given replaces the settings' for its action, and
        ``start=none`` drops it.

    Raises
    ------
    PlanError
        No key, no such action, or a control that names nothing.
    """
    pads, windows = stored.pads_of(list(in_ports))
    texts = {**stored.controls, **_controls(control)}
    triggers: dict[str, Trigger] = {
        action: parse_trigger(text, pads) for action, text in texts.items() if text.strip().lower() != "none"
    }
    key = stored.split_key if split is None else None if split.strip().lower() == "none" else key_of(split)
    return Player(tuple(in_ports[1:]), key, windows, Controls(triggers))


def _controls(options: Sequence[str]) -> dict[str, str]:
    """By action what ``start=cc64`` and the like say."""
    found: dict[str, str] = {}
    for option in options:
        action, equals, text = option.partition("=")
        if not equals or action.strip() not in ACTIONS:
            expected = "start=, stop= or repeat= and a key, pad or pedal, such as start=cc64"
            raise PlanError(sentence("control", f"'{option}'", expected))
        found[action.strip()] = text
    return found


def pads_for(stored: Stored, in_ports: Sequence[str]) -> dict[str, int]:
    """The learned key of each role on these inputs; empty where none was learned."""
    return stored.pads_of(list(in_ports))[0]


def with_learned_pads(drill: Drill, pads: Mapping[str, int]) -> Drill:
    """The drill on the player's own pads; a plan from a MIDI file, and one without pads, stays as it is."""
    if drill.exercise is None or not pads:
        return drill
    exercise = exercise_from_toml(drill.exercise)
    if not any(voice.name in pads for voice in exercise.voices):
        return drill
    moved = with_pads(exercise, pads)
    return replace(drill, plan=plan_of(moved), exercise=exercise_to_toml(moved))


def check_controls(player: Player, plan: Plan) -> None:
    """Raise `PlanError` where a control is a key that the exercise wants played: it could never be."""
    wanted = player.controls.keys & set(plan.pitch.tolist())
    for action, trigger in player.controls.triggers.items():
        if trigger.kind == "key" and trigger.number in wanted:
            hint = f"--control {action}=none plays without it"
            raise PlanError(
                sentence(f"control {action}", f"{trigger}, which this exercise wants played", "another key", hint)
            )
