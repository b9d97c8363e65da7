"""The kinds of finding: one table that the tests, the sentences, the advice and the guide read.

Conventions: sizes are ms; a negative one means earlier (or less scatter). Codes say what was asked, not which way
the answer fell: the sign of the size does that.

Inside: `Kind`, `FINDING_KINDS`, `kind_of`, `guide_table`.
"""

from dataclasses import dataclass

__all__ = ["FINDING_KINDS", "NOTHING", "Kind", "guide_table", "kind_of"]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of finding."""

    code: str
    """What programs rely on."""
    asks: str
    """What is tested, for the guide."""
    less: str
    """Sentence when the size is negative; ``{size}`` is the size without its sign, ``{what}`` names the strokes."""
    more: str
    """Sentence when the size is positive."""
    advice: str
    """Key that the advice is looked up by."""
    measure: str
    """``place`` (where strokes sit), ``scatter`` (how much they scatter) or ``other``."""
    weight: float
    """Share of the permitted error that the question gets, beside the others': what matters most to a player gets
    most (ours). 0 for what is not tested by this list."""


FINDING_KINDS: tuple[Kind, ...] = (
    Kind(
        "bias",
        "all strokes against the lean; needs a lean and a known delay",
        "On the whole you play {size} ahead of where you meant to be.",
        "On the whole you play {size} behind where you meant to be.",
        "place",
        "place",
        10.0,
    ),
    Kind(
        "beat",
        "one beat of the bar against all other strokes",
        "{what} comes {size} earlier than the rest.",
        "{what} comes {size} later than the rest.",
        "strong-beats",
        "place",
        0.6,
    ),
    Kind(
        "backbeat",
        "two and four together against all other strokes, in four",
        "Two and four come {size} earlier than the rest.",
        "Two and four come {size} later than the rest.",
        "strong-beats",
        "place",
        0.3,
    ),
    Kind(
        "off-beats",
        "everything between the beats against the beats",
        "What lies between the beats comes {size} earlier than the beats.",
        "What lies between the beats comes {size} later than the beats.",
        "divisions",
        "place",
        2.0,
    ),
    Kind(
        "division",
        "one kind of slot (eighths, triplets, sixteenths, finer) against all other strokes",
        "The {what} come {size} earlier than the rest.",
        "The {what} come {size} later than the rest.",
        "divisions",
        "place",
        0.6,
    ),
    Kind(
        "swing",
        "the swung eighths against the beats, measured from where the asked swing puts them",
        "The swung eighths come {size} early against the beats: flatter than the swing they are measured from.",
        "The swung eighths come {size} late against the beats: harder than the swing they are measured from.",
        "swing",
        "place",
        2.0,
    ),
    Kind(
        "section-drift",
        "slope over the bars inside the sections, all sections together; the size is ms per bar",
        "Inside the sections you speed up: {size} earlier with every bar.",
        "Inside the sections you slow down: {size} later with every bar.",
        "steady",
        "place",
        0.5,
    ),
    Kind(
        "drift",
        "slope over the bars of the whole take; the size is ms per bar",
        "You speed up over the take: {size} earlier with every bar.",
        "You slow down over the take: {size} later with every bar.",
        "steady",
        "place",
        0.4,
    ),
    Kind(
        "into-change",
        "the last bar before a new section against the rest, and a ramp through it",
        "You run into the changes: the last bar before a new section is {size} early against the rest.",
        "You hold back before the changes: the last bar before a new section is {size} late against the rest.",
        "turns",
        "place",
        3.0,
    ),
    Kind(
        "after-change",
        "the first bar of a new section against the rest",
        "The first bar of a new section is {size} early against the rest.",
        "The first bar of a new section is {size} late against the rest.",
        "turns",
        "place",
        0.3,
    ),
    Kind(
        "fills",
        "fills against the groove",
        "The fills come {size} earlier than the groove.",
        "The fills come {size} later than the groove.",
        "fills",
        "place",
        3.0,
    ),
    Kind(
        "landing",
        "the new section's first stroke against the rest",
        "The stroke that lands in a new section comes {size} earlier than the rest.",
        "The stroke that lands in a new section comes {size} later than the rest.",
        "turns",
        "place",
        0.3,
    ),
    Kind(
        "after-rest",
        "strokes after a gap of more than one and a half times the usual one",
        "After a rest or a long note you come in {size} early against the rest.",
        "After a rest or a long note you come in {size} late against the rest.",
        "rests",
        "place",
        0.4,
    ),
    Kind(
        "loudness",
        "loud against soft; the size is ms for one standard deviation of velocity",
        "Louder means earlier: {size} for every {what} steps of velocity.",
        "Louder means later: {size} for every {what} steps of velocity.",
        "dynamics",
        "place",
        1.0,
    ),
    Kind(
        "leaps",
        "strokes after a leap of seven semitones or more in the same hand",
        "After a wide leap you are {size} early against the rest.",
        "After a wide leap you are {size} late against the rest.",
        "leaps",
        "place",
        0.4,
    ),
    Kind(
        "hands",
        "left hand against right",
        "The left hand comes {size} earlier than the right.",
        "The left hand comes {size} later than the right.",
        "hands",
        "place",
        0.5,
    ),
    Kind(
        "scatter-off-beats",
        "scatter between the beats against scatter on them",
        "Between the beats you scatter {size} less than on them.",
        "Between the beats you scatter {size} more than on them.",
        "divisions",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-into-change",
        "scatter in the last bar before a new section",
        "In the last bar before a new section you scatter {size} less than elsewhere.",
        "In the last bar before a new section you scatter {size} more than elsewhere.",
        "turns",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-fills",
        "scatter in fills against the groove",
        "In fills you scatter {size} less than in the groove.",
        "In fills you scatter {size} more than in the groove.",
        "fills",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-after-rest",
        "scatter after a rest or a long note",
        "After a rest or a long note you scatter {size} less than elsewhere.",
        "After a rest or a long note you scatter {size} more than elsewhere.",
        "rests",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-leaps",
        "scatter after a wide leap",
        "After wide leaps you scatter {size} less than elsewhere.",
        "After wide leaps you scatter {size} more than elsewhere.",
        "leaps",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-hands",
        "scatter of the left hand against the right",
        "The left hand scatters {size} less than the right.",
        "The left hand scatters {size} more than the right.",
        "hands",
        "scatter",
        0.2,
    ),
    Kind(
        "scatter-grows",
        "scatter over the take; the size is the change from the first to the last stroke",
        "You get steadier over the take: {size} less scatter at its end than at its start.",
        "You get looser over the take: {size} more scatter at its end than at its start.",
        "rest-yourself",
        "scatter",
        0.2,
    ),
    Kind(
        "chord-spread",
        "notes of a chord that lie more than 30 ms apart on average",
        "",
        "The notes of your chords lie {size} apart on average; from 30 ms on that is heard as a spread chord.",
        "chords",
        "other",
        0.0,
    ),
    Kind(
        "accents-missing",
        "the beats that should carry an accent are not louder; asked only when the accents are known",
        "The accents are missing: {what} should be louder and are not.",
        "The accents are missing: {what} should be louder and are not.",
        "dynamics",
        "other",
        0.0,
    ),
    Kind(
        "too-even",
        "scatter below 1 ms over 32 strokes or more: no hand does that",
        "",
        "The strokes scatter by only {size}: no hand plays that evenly; this was moved to the grid or programmed.",
        "raw-take",
        "other",
        0.0,
    ),
    Kind(
        "nothing",
        "nothing in the list holds",
        "",
        "Nothing to say that these numbers would defend.",
        "next",
        "other",
        0.0,
    ),
)
"""All kinds. Sentences are complete; certainty and bars are added behind them."""

NOTHING = "nothing"
"""Code of the row that stands alone when there is nothing to say."""

_BY_CODE = {kind.code: kind for kind in FINDING_KINDS}


def kind_of(code: str) -> Kind:
    """The row of a code. Raises `KeyError` for a code that is not in the table."""
    return _BY_CODE[code]


def guide_table() -> str:
    """The table of codes as the guide prints it, in Markdown."""
    rows = [f"| `{kind.code}` | {kind.measure} | {kind.asks} | `{kind.advice}` |" for kind in FINDING_KINDS]
    return "\n".join(["| code | about | what is asked | advice |", "|---|---|---|---|", *rows])
