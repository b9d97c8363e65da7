"""Learn your pads while you hit them: a pure step. No device, no clock, no screen.

For each role in turn the player hits a pad, twice or more; the second hit of the same key settles it. What a kit does
meanwhile is not taken for an answer: a retrigger of the same pad, and the softer echo that a neighbouring pad gives when
the stand shakes. A pad that already has a role is said and asked for again.

Inside: `Hit`, `Skip`, `Undo` (the events); `Ask`, `Counted`, `Took`, `Taken`, `Learned` (the effects); `Learning`,
`begin_learning`, `learn`, `ROLES`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

__all__ = [
    "ROLES",
    "Ask",
    "Counted",
    "Hit",
    "Learned",
    "Learning",
    "Skip",
    "Taken",
    "Took",
    "Undo",
    "begin_learning",
    "learn",
]

ROLES = ("kick", "snare", "hat", "ride", "crash", "tom", "low tom", "rim")
"""Roles that are asked for when nobody names others; exercises use the first three. Ours."""

SAME_PAD_US = 80_000
"""A key that comes again within this is the same hit. Wider than while playing, because here nobody plays fast. Ours."""

ECHO_US = 30_000
"""A softer hit of another pad so soon after one is the stand shaking. Ours."""

HITS = 2
"""So many hits of one pad settle a role."""


class Hit(NamedTuple):
    """A note-on."""

    at_us: int
    key: int
    velocity: int


class Skip(NamedTuple):
    """The player has no pad for this role."""


class Undo(NamedTuple):
    """The player wants the role before again."""


class Ask(NamedTuple):
    """Effect: ask for this role."""

    role: str


class Counted(NamedTuple):
    """Effect: a first hit; the same pad again settles it."""

    role: str
    key: int
    hits: int


class Took(NamedTuple):
    """Effect: a role has its key."""

    role: str
    key: int


class Taken(NamedTuple):
    """Effect: that pad is another role's already."""

    role: str
    key: int
    other: str


class Learned(NamedTuple):
    """Effect: every role was asked for; these are the keys."""

    keys: Mapping[str, int]


Event = Hit | Skip | Undo
Effect = Ask | Counted | Took | Taken | Learned


@dataclass(frozen=True, slots=True)
class Learning:
    """How far it is."""

    roles: tuple[str, ...]
    place: int = 0
    """Index of the role that is asked for; ``len(roles)`` when all were."""
    keys: Mapping[str, int] = field(default_factory=dict)
    """What is settled."""
    key: int = -1
    """Hit so far for this role; -1 is none."""
    hits: int = 0
    last: Hit | None = None
    """The last hit that was not a retrigger or an echo."""

    @property
    def over(self) -> bool:
        """Whether every role was asked for."""
        return self.place >= len(self.roles)


def begin_learning(roles: Sequence[str] = ROLES) -> tuple[Learning, tuple[Effect, ...]]:
    """The state before the first hit, and the first question; raises `ValueError` for a role that comes twice."""
    if len(set(roles)) != len(roles):
        raise ValueError(f"roles {list(roles)}; expected each once")
    state = Learning(tuple(roles))
    return state, _question(state)


def learn(state: Learning, event: Event) -> tuple[Learning, tuple[Effect, ...]]:
    """The state after an event, and what is to be said; nothing changes once it is over, but `Undo` goes back."""
    if isinstance(event, Undo):
        place = max(state.place - 1, 0)
        keys = {role: key for role, key in state.keys.items() if role != state.roles[place]} if state.roles else {}
        state = replace(state, place=place, keys=keys, key=-1, hits=0)
        return state, _question(state)
    if state.over:
        return state, ()
    if isinstance(event, Skip):
        return _next(state, ())
    last = state.last
    if last is not None and _no_answer(last, event):
        return state, ()
    return _hit(replace(state, last=event), event)


def _no_answer(last: Hit, event: Hit) -> bool:
    """Whether a hit is a retrigger of the one before or its echo on another pad."""
    gap = event.at_us - last.at_us
    if event.key == last.key:
        return gap <= SAME_PAD_US
    return gap <= ECHO_US and event.velocity < last.velocity


def _hit(state: Learning, event: Hit) -> tuple[Learning, tuple[Effect, ...]]:
    """Count a hit towards the role that is asked for."""
    role = state.roles[state.place]
    other = next((name for name, key in state.keys.items() if key == event.key), None)
    if other is not None:
        return replace(state, key=-1, hits=0), (Taken(role, event.key, other),)
    hits = state.hits + 1 if event.key == state.key else 1
    if hits < HITS:
        return replace(state, key=event.key, hits=hits), (Counted(role, event.key, hits),)
    return _next(replace(state, keys={**state.keys, role: event.key}), (Took(role, event.key),))


def _next(state: Learning, said: tuple[Effect, ...]) -> tuple[Learning, tuple[Effect, ...]]:
    """The next role."""
    state = replace(state, place=state.place + 1, key=-1, hits=0)
    return state, (*said, *_question(state))


def _question(state: Learning) -> tuple[Effect, ...]:
    """What is asked for now, or the end."""
    return (Learned(dict(state.keys)),) if state.over else (Ask(state.roles[state.place]),)
