"""What heeltap keeps beside a take so that it can judge it again in ten years: `heeltap.take/1`.

It writes out everything that the judgement depends on, the plan note by note as well, so a take keeps its meaning when
somebody rewrites the exercise or the generator changes. We may add fields within version 1; readers ignore those that
they do not know.

Inside: `Context`, `PlanOut`, `DrumsOut`, `LeftOut`, `context_bytes`, `context_from`, `plan_out`, `plan_from`.
"""

import re
from typing import Annotated

import msgspec
import numpy as np

from heeltap.errors import TakeFileError
from heeltap.model.arrays import as_ints
from heeltap.model.notes import Notes, make_notes
from heeltap.model.plan import HANDS, KINDS, MOST_PLANNED, Plan, Section
from heeltap.model.timeline import Metre, MetreMap, TempoMap

__all__ = [
    "FINISHED_LATER",
    "FORMAT",
    "Context",
    "DrumsOut",
    "LeftOut",
    "PlanOut",
    "context_bytes",
    "context_from",
    "drums_from",
    "plan_from",
    "plan_out",
]

FORMAT = "heeltap.take/1"

FINISHED_LATER = "finished later"
"""``ending`` of a take whose journal is whole, but that nobody kept when it ended."""

_FORMAT_SHAPE = re.compile(r"heeltap\.take/(\d+)")

_Us = Annotated[int, msgspec.Meta(ge=-(2**53), le=2**53)]
_Count = Annotated[int, msgspec.Meta(ge=0, le=2**31)]
_Notes = msgspec.Meta(max_length=MOST_PLANNED)
_Finite = Annotated[float, msgspec.Meta(ge=-1e9, le=1e9)]


class PlanOut(msgspec.Struct, frozen=True):
    """A plan as plain lists; columns as in `heeltap.model.plan.Plan`."""

    name: str
    at_tick: Annotated[list[_Us], _Notes]
    at_us: Annotated[list[_Us], _Notes]
    pitch: Annotated[list[Annotated[int, msgspec.Meta(ge=-1, le=127)]], _Notes]
    velocity: Annotated[list[Annotated[int, msgspec.Meta(ge=0, le=127)]], _Notes]
    hand: Annotated[list[Annotated[int, msgspec.Meta(ge=0, lt=len(HANDS))]], _Notes]
    kind: Annotated[list[Annotated[int, msgspec.Meta(ge=0, lt=len(KINDS))]], _Notes]
    stroke: Annotated[list[_Count], _Notes]
    ticks_per_quarter: Annotated[int, msgspec.Meta(ge=1, le=32767)]
    """Resolution of the tempo map."""
    tempo: Annotated[list[tuple[_Us, Annotated[int, msgspec.Meta(ge=1, lt=2**24)]]], _Notes]
    """(tick, microseconds per quarter) of each segment."""
    metre: list[tuple[_Finite, Annotated[int, msgspec.Meta(ge=1, le=255)], Annotated[int, msgspec.Meta(ge=1, le=128)]]]
    """(position in quarters, upper number, lower number) of each signature."""
    sections: list[tuple[str, _Count, _Count]]
    """(name, first bar, last bar)."""
    bars: _Count
    swing_ratio: Annotated[float, msgspec.Meta(gt=0, le=100)] = 1.0


class DrumsOut(msgspec.Struct, frozen=True):
    """The drum strokes that sounded while you played, in plain lists of one length."""

    name: str
    """Of the part or the pattern."""
    at_us: list[_Us] = []
    """When each was sent, microseconds from bar 1, beat 1; before the take is finished, when it is due."""
    key: list[Annotated[int, msgspec.Meta(ge=0, le=127)]] = []
    velocity: list[Annotated[int, msgspec.Meta(ge=0, le=127)]] = []


class LeftOut(msgspec.Struct, frozen=True):
    """A stretch that is not held against the player."""

    from_us: _Us
    """Microseconds from bar 1, beat 1."""
    to_us: _Us
    why: str
    """``lost`` (the port was gone), ``held``, ``late click``, ``no clock`` (of the device that is followed)."""


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """How a take was made."""

    format: str = FORMAT
    heeltap: str
    """Version that wrote it."""
    name: str
    """Short name of the exercise or the plan file."""
    title: str = ""
    date: str = ""
    """When it began, ISO 8601 with the local offset."""
    exercise: str | None = None
    """The exercise as TOML text; None when the plan came from elsewhere."""
    plan: PlanOut
    lean_ms: _Finite = 0.0
    pocket_ms: Annotated[float, msgspec.Meta(gt=0, le=1e6)] | None = None
    """None is 4 % of the beat, 12 to 25 ms."""
    delay_ms: _Finite | None = None
    """Known delay of the route; None when not known."""
    delay_uncertainty_ms: Annotated[float, msgspec.Meta(ge=0, le=1e6)] | None = None
    """95 % half-width of ``delay_ms``; None when not known."""
    delay_method: str = "given"
    """How ``delay_ms`` was found: ``given``, ``same-path`` or ``microphone``; ``feel`` where only that is known."""
    delay_note: str = ""
    """Why an earlier calibration did not hold for this take; empty when there is nothing to say."""
    selftest: str = ""
    """The self-test made of this route before, in one line; empty when there was none."""
    trusted: bool | None = None
    """What that self-test says of scores; None when there was none."""
    retrigger_ms: Annotated[float, msgspec.Meta(ge=0, le=1e6)] | None = None
    """Window of the double-trigger filter; None is the default of the program that judges."""
    resolution_ms: _Finite | None = None
    """Nothing finer than this can be told from this route; None when not known."""
    feedback: str = "bar"
    take_number: _Count = 1
    """How many takes of this exercise there were, this one included."""
    in_port: str = ""
    more_in_ports: list[str] = []
    """Further inputs that were played on at the same time; track n of ``take.mid`` is the n-th of all."""
    out_port: str = ""
    clock_input: Annotated[int, msgspec.Meta(ge=-1, le=255)] = -1
    """Index of the input whose MIDI clock was followed: tempo and times of ``plan`` are then that clock's; -1 for our own
    click. An index after all others is an input that gave the clock only."""
    heard: str = ""
    """What was asked to be heard: ``every``, ``beat:plain``, ``part:drums``; empty is the exercise's own click."""
    drums: DrumsOut | None = None
    """What the drummer really played; None where no drums sounded, and in takes of earlier versions."""
    drums_lead: bool = False
    """Whether the take is judged against kick and snare of ``drums``; False is the click."""
    split_key: Annotated[int, msgspec.Meta(ge=0, le=127)] | None = None
    """Lowest key of the right hand; None where hands are not told apart."""
    retrigger_of: dict[int, _Finite] = {}
    """Double-trigger window of single keys, ms; the others have ``retrigger_ms``."""
    controls: dict[str, str] = {}
    """Hands-free controls by action, such as ``cc64`` or ``key49``: in the journal, but no notes of the take."""
    seed: int | None = None
    passes: Annotated[int, msgspec.Meta(ge=1, le=10_000)] = 1
    """How often the bars of ``plan`` come in a row."""
    loop: str = ""
    """Name of the whole recording that this pass of a loop was cut out of; empty where it is no pass."""
    count_in_us: _Us = 0
    """Length of the count-in: bar 1, beat 1 in ``take.mid`` is here."""
    ending: str = ""
    """``played``, ``stopped``, ``recovered`` (nothing closed the journal), ``finished later`` (the engine ended in order, but
    nobody kept the take), or what broke; empty while the take is being played."""
    judged_to_us: _Us | None = None
    """Where an unfinished take ends; None when it was played to the end."""
    left_out: Annotated[list[LeftOut], msgspec.Meta(max_length=10_000)] = []
    late_clicks: _Count = 0
    """Clicks that left 5 ms late or more (takes of earlier versions: 2 ms)."""
    unsent_clicks: _Count = 0
    """Clicks that never left."""
    dropped_cycles_us: Annotated[list[_Us], msgspec.Meta(max_length=10_000)] = []
    """When the MIDI system dropped a cycle, microseconds from bar 1, beat 1: a note may be lost there."""
    dropped: _Count = 0
    """Notes that the journal lost; 0 always, unless the disk failed."""
    engine: dict[str, str | int | float | bool | None] = {}
    """What the engine reports of itself: scheduling, lateness, counts."""


def context_bytes(context: Context) -> bytes:
    """The context as JSON, fit for reading by people and byte for byte the same for the same content."""
    return msgspec.json.format(msgspec.json.encode(context), indent=1) + b"\n"


def context_from(data: bytes, where: str) -> Context:
    """The context in JSON bytes.

    Raises
    ------
    TakeFileError
        It is not a context, is damaged, or was written by a newer heeltap; ``where`` names it.
    """
    try:
        version = msgspec.json.decode(data, type=_ContextHead).format
        known = _FORMAT_SHAPE.fullmatch(version)
        if known and int(known[1]) > 1:
            raise TakeFileError(where, f"format {version!r}", repr(FORMAT), "written by a newer heeltap: update")
        if version != FORMAT:
            raise TakeFileError(where, f"format {version!r}", repr(FORMAT))
        return msgspec.json.decode(data, type=Context)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise TakeFileError(where, f"not a take's context: {error}", FORMAT) from error


class _ContextHead(msgspec.Struct):
    format: str


def plan_out(plan: Plan) -> PlanOut:
    """A plan as plain lists."""
    return PlanOut(
        name=plan.name,
        at_tick=plan.at_tick.tolist(),
        at_us=plan.at_us.tolist(),
        pitch=plan.pitch.tolist(),
        velocity=plan.velocity.tolist(),
        hand=plan.hand.tolist(),
        kind=plan.kind.tolist(),
        stroke=plan.stroke.tolist(),
        ticks_per_quarter=plan.tempo.ticks_per_quarter,
        tempo=list(zip(plan.tempo.at_tick.tolist(), plan.tempo.us_per_quarter.tolist(), strict=True)),
        metre=[
            (at, metre.count, metre.unit)
            for at, metre in zip(plan.metre.at_quarter.tolist(), plan.metre.metres, strict=True)
        ],
        sections=[(section.name, section.first_bar, section.last_bar) for section in plan.sections],
        bars=plan.bars,
        swing_ratio=plan.swing_ratio,
    )


def drums_from(out: DrumsOut, where: str) -> Notes:
    """The drum strokes in plain lists; raises `TakeFileError` when they differ in length."""
    if not len(out.at_us) == len(out.key) == len(out.velocity):
        raise TakeFileError(where, "drum strokes of different lengths", FORMAT)
    order = np.argsort(as_ints(out.at_us), kind="stable")
    columns = (as_ints(column)[order] for column in (out.at_us, out.key, out.velocity))
    return make_notes(*columns, channel=9)


def plan_from(out: PlanOut, where: str) -> Plan:
    """The plan in plain lists; raises `TakeFileError` when they do not make one."""
    try:
        return Plan(
            name=out.name,
            at_tick=as_ints(out.at_tick),
            at_us=as_ints(out.at_us),
            pitch=as_ints(out.pitch),
            velocity=as_ints(out.velocity),
            hand=as_ints(out.hand),
            kind=as_ints(out.kind),
            stroke=as_ints(out.stroke),
            tempo=TempoMap(
                out.ticks_per_quarter, as_ints(row[0] for row in out.tempo), as_ints(row[1] for row in out.tempo)
            ),
            metre=MetreMap(
                np.array([row[0] for row in out.metre], dtype=np.float64),
                tuple(Metre(count, unit) for _, count, unit in out.metre),
            ),
            sections=tuple(Section(*row) for row in out.sections),
            bars=out.bars,
            swing_ratio=out.swing_ratio,
        )
    except ValueError as error:
        raise TakeFileError(where, f"a plan that is none: {error}", FORMAT) from error
