"""How you play a drill, and what heeltap writes down of it before the first click.

Inside: `Settings`, `route_of_all`, `context_of`, `pauses_of`.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

from heeltap import __version__
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.leading import drums_of, leads
from heeltap.app.drill.player_setup import Player
from heeltap.app.drill.voices import mix_of
from heeltap.app.route.route import Route, route_of
from heeltap.clock import wall_now
from heeltap.devices.computer_keys import UNCERTAINTY_MS
from heeltap.devices.inputs import KEYS_NAME
from heeltap.engine.terminal_rescue import Terminal
from heeltap.errors import HeeltapError
from heeltap.files.paths import takes_dir
from heeltap.files.takes.folder import list_takes, read_context
from heeltap.files.takes.metadata import Context, LeftOut, plan_out
from heeltap.model.messages import Schedule
from heeltap.model.mix import DRUMS, Mix
from heeltap.session.session import Feedback, State

__all__ = ["Settings", "context_of", "pauses_of", "route_of_all"]


@dataclass(frozen=True, slots=True)
class Settings:
    """How a drill is played."""

    in_port: str
    """A device, ``keys``, or ``fake:`` with a file."""
    out_port: str | None = None
    """Where the click goes; None is silent."""
    feedback: Feedback = Feedback.BAR
    delay_ms: float | None = None
    """Known delay of the route; None takes what is kept for these ports."""
    retrigger_ms: float | None = None
    takes: Path = field(default_factory=takes_dir)
    """The folder of all takes."""
    script: Schedule | None = None
    """What a ``fake:`` input plays, instead of a file."""
    virtual: bool = False
    """Make ports of those names for others to connect to."""
    start_delay_us: int = 300_000
    send_clock: bool = False
    """Send MIDI clock, start and stop to the output as well."""
    song_bar: int | None = None
    """The bar of its own song at which a receiver of the clock begins; None is a plain start."""
    terminal: Terminal | None = None
    """The terminal as it was before it was drawn on: the engine gives it back when the program that draws is killed."""
    player: Player = field(default_factory=Player)
    """Further inputs, split, pads and hands-free controls."""
    mix: Mix | None = None
    """How loud each voice is when the take begins; None is how the drill offers it."""
    follow_clock: str | None = None
    """Play to the MIDI clock of this input, which may be one that is played; None is our own click."""

    def mix_for(self, drill: Drill) -> Mix:
        """How loud each voice is when a take of the drill begins."""
        return mix_of(drill) if self.mix is None else self.mix

    @property
    def in_ports(self) -> tuple[str, ...]:
        """Every input, the first one first; one that gives the clock only is the last."""
        played = self.in_port, *self.player.more_in
        return played if self.follow_clock in (None, *played) else (*played, str(self.follow_clock))

    @property
    def silent(self) -> bool:
        """Whether nothing sounds, so that the player must see the beat."""
        return self.out_port is None and self.follow_clock is None

    @property
    def clock_input(self) -> int:
        """Index of the input whose clock is followed; -1 for none."""
        return -1 if self.follow_clock is None else self.in_ports.index(self.follow_clock)


def route_of_all(settings: Settings) -> Route:
    """What is known of the first input's route, with a word about others whose delay is not the same.

    Raises `PortError` where any of them is wireless, and `StoreError`, as `heeltap.app.route.route.route_of`.
    """
    route, *others = (
        route_of(name, settings.out_port, given_ms=settings.delay_ms)
        for name in (settings.in_port, *settings.player.more_in)
    )
    apart = [
        name
        for name, other in zip(settings.player.more_in, others, strict=True)
        if other.delay_ms != route.delay_ms and route.delay_ms is not None
    ]
    if not apart:
        return route
    note = f"heeltap takes the delay of {settings.in_port} away; {' and '.join(apart)} may have another"
    return replace(route, note=f"{route.note}; {note}" if route.note else note)


def context_of(drill: Drill, settings: Settings, route: Route) -> Context:
    """What is known before the first click."""
    audible = settings.out_port is not None and settings.follow_clock is None
    drums = drums_of(drill) if audible else None
    return Context(
        heeltap=__version__,
        name=drill.name,
        title=drill.title,
        date=wall_now().isoformat(timespec="seconds"),
        exercise=drill.exercise,
        plan=plan_out(drill.plan),
        lean_ms=drill.lean_ms,
        pocket_ms=drill.pocket_ms,
        delay_ms=route.delay_ms,
        delay_uncertainty_ms=route.uncertainty_ms,
        delay_method=route.method,
        delay_note=route.note,
        selftest=route.selftest,
        trusted=route.trusted,
        retrigger_ms=settings.retrigger_ms,
        resolution_ms=UNCERTAINTY_MS if KEYS_NAME in settings.in_ports else None,
        feedback=settings.feedback.value,
        take_number=_take_number(drill, settings),
        in_port=settings.in_port,
        more_in_ports=list(settings.player.more_in),
        split_key=settings.player.split_key,
        retrigger_of=dict(settings.player.retrigger_of),
        controls=settings.player.controls.texts,
        out_port=settings.out_port or "",
        clock_input=settings.clock_input,
        heard=drill.heard,
        drums=drums,
        drums_lead=drums is not None and leads(drill) and settings.mix_for(drill).level(DRUMS) > 0,
        seed=drill.seed,
        passes=drill.passes,
        count_in_us=drill.count_in_us,
    )


def pauses_of(state: State) -> list[LeftOut]:
    """Where the player paused the take, microseconds from bar 1, beat 1; a take's file calls these spans ``held``."""
    ends = ((gap, state.now_us if gap.to_us is None else gap.to_us) for gap in state.gaps if gap.why == "paused")
    return [LeftOut(gap.from_us, max(gap.from_us, to_us), "held") for gap, to_us in ends]


def _take_number(drill: Drill, settings: Settings) -> int:
    """Which take of this exercise it is; only ``fade`` needs to know, and reading a thousand contexts takes a while."""
    if settings.feedback is not Feedback.FADE:
        return 1
    number = 1
    for folder in list_takes(settings.takes):
        try:
            number += read_context(folder).name == drill.name
        except HeeltapError:
            continue
    return number
