"""`heeltap.result/2`: the one type that text, JSON, HTML, screen and history are renderings of.

Conventions: milliseconds, negative is early; ``*_ci95_ms`` is a pair (low, high) or None where too little was played to
say; numbers are plain Python numbers, never numpy's, never NaN. Fields may be added within version 2; none is renamed,
removed or given another meaning. Version 1 had another pocket and another score, see `docs/guide/measuring.md`.
"""

from dataclasses import dataclass, field

__all__ = [
    "FEEL",
    "FORMAT",
    "HALVES",
    "Advice",
    "BeatRow",
    "Calibration",
    "Counts",
    "DivisionRow",
    "Finding",
    "Halves",
    "MoreBars",
    "NoteRow",
    "Overall",
    "Reference",
    "Replay",
    "Result",
    "SectionRow",
    "Swing",
]

FORMAT = "heeltap.result/2"

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Reference:
    """What time is measured against."""

    kind: str
    """``clock`` (the click's grid) or ``leader`` (kick and snare of the drum part)."""
    name: str
    """In words: "the click at 96 bpm", "drums (channel 10)"."""


FEEL = "feel"
"""Method of a delay that was only tapped along to: it is never taken away."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What is known of the constant delay between finger and number."""

    known: bool
    """False: every absolute "early" or "late" may be off by the delay; differences between beats are not."""
    delay_ms: float
    """Taken away from every offset; 0 when not known."""
    uncertainty_ms: float | None
    """95 % half-width of ``delay_ms``; None when not known."""
    method: str
    """``none``, ``given``, ``estimated``, ``same-path``, ``microphone`` or ``feel``."""


@dataclass(frozen=True, slots=True)
class Counts:
    """Notes by status; ``planned`` is 0 without a plan."""

    planned: int
    matched: int
    missed: int
    extra: int
    wrong_pitch: int
    unplaced: int


@dataclass(frozen=True, slots=True)
class Overall:
    """The whole take."""

    n: int
    """Strokes that the statistics rest on."""
    bias_ms: float | None
    bias_ci95_ms: Interval | None
    """Of the playing alone: the uncertainty of the delay is ``calibration.uncertainty_ms``, for all strokes the same."""
    spread_ms: float | None
    spread_ci95_ms: Interval | None
    in_pocket: float | None
    """Share of strokes within the pocket around ``centre_ms``, 0-1."""
    score: int | None
    """0-100, in whole points; tightness about the take's own middle where the delay is not known."""
    drift_ms_per_bar: float | None = None
    drift_ci95_ms_per_bar: Interval | None = None
    centre_ms: float = 0.0
    """What ``in_pocket``, ``held`` and ``score`` hold the strokes against: the lean, or the median of the offsets where the
    delay of the route is not known."""
    pocket_ms: float | None = None
    """Half-width of the pocket on the beats, of the usual beat; half as much again lies between them, unless the user
    gave one."""
    held: float | None = None
    """Share of the planned strokes in the pocket, 0-1: a missed stroke was not held, a chord counts by its worst note."""


@dataclass(frozen=True, slots=True)
class BeatRow:
    """One beat position over all bars."""

    beat: float
    n: int
    bias_ms: float | None
    bias_ci95_ms: Interval | None
    spread_ms: float | None


@dataclass(frozen=True, slots=True)
class DivisionRow:
    """One kind of slot over all bars."""

    division: str
    n: int
    bias_ms: float | None
    bias_ci95_ms: Interval | None
    spread_ms: float | None


@dataclass(frozen=True, slots=True)
class SectionRow:
    """One section of the song."""

    name: str
    first_bar: int
    last_bar: int
    n: int
    bias_ms: float | None
    bias_ci95_ms: Interval | None
    spread_ms: float | None
    drift_ms_per_bar: float | None
    in_pocket: float | None = None
    verdict: str = ""
    """In words: held, early, late, uneven, missing, or empty where heeltap cannot say."""


@dataclass(frozen=True, slots=True)
class Swing:
    """Long to short, averaged as a logarithm."""

    ratio: float
    ci95: Interval | None
    n: int
    unit: str = "eighth"
    """What is swung: ``eighth`` or ``sixteenth``."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A statement about the player that holds up against chance."""

    code: str
    """Row in the table of `heeltap.analysis.findings`."""
    text: str
    """A sentence for the player."""
    effect_ms: float
    """Signed size; negative is earlier."""
    ci95_ms: Interval | None
    """For ``bias`` the delay's own uncertainty is in it."""
    p_adjusted: float | None
    """After correction for everything that was looked at."""
    bars: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Replay:
    """One to three bars worth playing again."""

    first_bar: int
    last_bar: int
    why: str
    offset_ms: float | None = None
    """Average beside ``overall.centre_ms`` of the strokes that ``why`` tells of; None where nothing was played."""
    strokes: int = 0
    """How many strokes that is the average of."""
    command: str = ""
    """What plays just these bars; empty where heeltap does not know where the part lies."""


@dataclass(frozen=True, slots=True)
class MoreBars:
    """The bars behind the list of those worth playing again."""

    bars: tuple[int, ...]
    between_ms: Interval | None
    """From which to which distance beside ``overall.centre_ms`` they lie, either side; None where strokes are missing."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do next."""

    action: str
    text: str
    exercise: str | None = None


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One note, played or missed."""

    time_s: float
    """Seconds on the take's own clock; the planned time for a missed note."""
    bar: int | None
    beat: float | None
    pitch: int
    velocity: int
    """0 for a missed note."""
    status: str
    """``matched``, ``wrong_pitch``, ``extra``, ``doubled`` (a chord's note in one more octave), ``unplaced``, ``missed``."""
    offset_ms: float | None
    division: str | None
    section: str | None
    confidence: float | None = None


@dataclass(frozen=True, slots=True)
class Halves:
    """Which fields are facts of the take and which are inferences about the player, as paths into the result."""

    take: tuple[str, ...]
    """What is on the recording, known to the measuring error: clock, delay, resolution."""
    player: tuple[str, ...]
    """What it suggests of the player's habits, each held to how sure it is; and what to do about it."""


HALVES = Halves(
    take=(
        "file",
        "part",
        "reference",
        "lean_ms",
        "pocket_ms",
        "calibration",
        "resolution_ms",
        "counts",
        "overall",
        "by_beat",
        "by_division",
        "by_section",
        "swing",
        "replay",
        "replay_more",
        "notes",
        "warnings",
        "on_grid",
        "place",
        "format",
        "halves",
    ),
    player=(
        "overall.bias_ci95_ms",
        "overall.spread_ci95_ms",
        "overall.drift_ms_per_bar",
        "overall.drift_ci95_ms_per_bar",
        "by_beat.bias_ci95_ms",
        "by_division.bias_ci95_ms",
        "by_section.bias_ci95_ms",
        "by_section.drift_ms_per_bar",
        "swing.ci95",
        "findings",
        "advice",
    ),
)
"""Every field of a result belongs to the half that names the longest part of its path."""


@dataclass(frozen=True, slots=True)
class Result:
    """Everything that heeltap says about one take."""

    file: str
    part: str
    reference: Reference
    lean_ms: float
    pocket_ms: float | None
    """Half-width of the pocket given by the user; None means 4 % of the beat, 12 to 25 ms."""
    calibration: Calibration
    resolution_ms: float | None
    """Nothing finer than this can be told from this route or file."""
    counts: Counts
    overall: Overall
    by_beat: tuple[BeatRow, ...]
    by_division: tuple[DivisionRow, ...]
    by_section: tuple[SectionRow, ...]
    swing: Swing | None
    findings: tuple[Finding, ...]
    replay: tuple[Replay, ...]
    advice: tuple[Advice, ...]
    notes: tuple[NoteRow, ...]
    warnings: tuple[str, ...] = field(default=())
    on_grid: bool = True
    """False: the take follows the click's grid no better than chance would; offsets then say nothing about playing."""
    replay_more: MoreBars | None = None
    """What lies behind ``replay``: more bars than its six, and bars that lie nearly as far off."""
    place: tuple[str, ...] = field(default=())
    """Where the take lies on its plan, in sentences: a bar left out, another key, a shift of the recording; what they name is
    taken out of every number. None for an ordinary take."""
    halves: Halves = HALVES
    """The two headings under which the fields belong."""
    format: str = FORMAT
