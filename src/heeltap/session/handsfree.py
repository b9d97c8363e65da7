"""Hands-free control: a key, a pad or a pedal that starts, stops or repeats. Pure; the session decides what a press does.

Such a key is a control and nothing else: it never reaches the matcher, the take's notes or the score. A pedal counts
when it goes down (a value of 64 or more after one below), so holding it or a sweeping controller is one press.

Inside: `ACTIONS`, `Trigger`, `Controls`, `parse_trigger`, `Pressed`, `press_of`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from heeltap.errors import PlanError, sentence
from heeltap.model.pitch import key_name, key_of

__all__ = ["ACTIONS", "NO_CONTROLS", "Controls", "Pressed", "Trigger", "parse_trigger", "press_of"]

ACTIONS = ("start", "stop", "repeat")
"""What a control can do."""

DOWN = 64
"""A controller at this value or above is down: the MIDI standard's own switch point."""

_PEDALS = {"sustain": 64, "sostenuto": 66, "soft": 67}


class Trigger(NamedTuple):
    """One key or controller, on any channel of any port."""

    kind: str
    """``key`` or ``cc``."""
    number: int

    def __str__(self) -> str:
        return f"cc{self.number}" if self.kind == "cc" else f"key {self.number} ({key_name(self.number)})"


@dataclass(frozen=True, slots=True)
class Controls:
    """What the player chose; one trigger may do several things, each where it makes sense."""

    triggers: Mapping[str, Trigger]
    """By action, of `ACTIONS`."""

    def __bool__(self) -> bool:
        return bool(self.triggers)

    def actions_of(self, kind: str, number: int) -> tuple[str, ...]:
        """What a key or controller does; empty for those that are no controls."""
        return tuple(action for action in ACTIONS if self.triggers.get(action) == (kind, number))

    @property
    def keys(self) -> frozenset[int]:
        """Keys that are controls, so no notes."""
        return frozenset(trigger.number for trigger in self.triggers.values() if trigger.kind == "key")

    @property
    def texts(self) -> dict[str, str]:
        """As `parse_trigger` reads them back."""
        return {action: f"{trigger.kind}{trigger.number}" for action, trigger in self.triggers.items()}


NO_CONTROLS = Controls({})
"""Nothing is hands-free."""


def parse_trigger(text: str, pads: Mapping[str, int] | None = None) -> Trigger:
    """The key or controller that a text names: ``cc64``, ``sustain``, ``key49``, ``C#3`` or ``pad crash``.

    Parameters
    ----------
    text : str
    pads : mapping, optional
        Key of each learned pad by its role.

    Raises
    ------
    PlanError
        It names none; or a pad that was not learned.
    """
    word = " ".join(text.lower().split())
    if word in _PEDALS:
        return Trigger("cc", _PEDALS[word])
    if (found := re.fullmatch(r"cc ?(\d{1,3})", word)) and int(found[1]) < 120:
        return Trigger("cc", int(found[1]))
    if found := re.fullmatch(r"pad[ :]?(.+)", word):
        role = found[1].strip()
        if role in (pads or {}):
            return Trigger("key", (pads or {})[role])
        known = ", ".join(pads or {}) or "none is learned yet"
        raise PlanError(sentence("control", f"pad '{role}'", f"a learned pad ({known})", "heeltap pads learn"))
    try:
        return Trigger("key", key_of(re.sub(r"^(key|note) ?", "", text.strip())))
    except PlanError:
        expected = "a controller (cc64, sustain), a key (key49, C#3) or a learned pad (pad crash)"
        raise PlanError(sentence("control", f"'{text}'", expected)) from None


class Pressed(NamedTuple):
    """A message that belongs to a control."""

    actions: tuple[str, ...]
    """What it does; empty where it is a control's release or a pedal that was down already."""
    down: frozenset[int]
    """Controllers that are down now."""


def press_of(controls: Controls, down: frozenset[int], kind: str, number: int, value: int) -> Pressed | None:
    """What a message means to the controls; None when it is none of theirs.

    Parameters
    ----------
    controls : Controls
    down : frozenset
        Controllers that were down before.
    kind, number, value
        ``key`` with its velocity (0 for a note-off), or ``cc`` with its value.
    """
    actions = controls.actions_of(kind, number)
    if not actions:
        return None
    if kind == "key":
        return Pressed(actions if value else (), down)
    if value < DOWN:
        return Pressed((), down - {number})
    return Pressed(() if number in down else actions, down | {number})
