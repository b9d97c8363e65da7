"""The beat to be seen: its number in the line of beats, and, on a tall screen, as large as five lines.

The present beat stands where it lies in the bar, further right with every beat, and is solid for a third of its length: it
can be followed from the side, and from a stool that stands away from the screen.

Inside: `present_bar`, `beat_now`, `beats_line`, `large_beat`, `LARGE_LINES`.
"""

from heeltap.session.plan_columns import BarColumns
from heeltap.session.session import Phase, State
from heeltap.views.bar_sheet import GUTTER, Glyphs, Line, Span

__all__ = ["LARGE_LINES", "beat_now", "beats_line", "large_beat", "present_bar"]

LARGE_LINES = 5
"""Height of a large digit."""

_FLASH = 0.35
"""Share of a beat for which it is shown as lit: long enough to see from the side, short enough to be a beat."""

_DIGITS = (
    ("###", "# #", "# #", "# #", "###"),
    (" # ", "## ", " # ", " # ", "###"),
    ("###", "  #", "###", "#  ", "###"),
    ("###", "  #", "###", "  #", "###"),
    ("# #", "# #", "###", "  #", "  #"),
    ("###", "#  ", "###", "  #", "###"),
    ("###", "#  ", "###", "# #", "###"),
    ("###", "  #", "  #", "  #", "  #"),
    ("###", "# #", "###", "# #", "###"),
    ("###", "# #", "###", "  #", "###"),
)

_WIDEST = 16
"""Columns from one large beat to the next, at most: a glance takes in no more."""


def present_bar(state: State) -> BarColumns:
    """The bar that is played; in a count-in the one that it leads to."""
    at_us = max(state.now_us, state.begin_us) if state.phase is Phase.COUNT_IN else max(state.now_us, 0)
    return state.columns.bar_at(at_us)


def beat_now(state: State) -> tuple[int, bool]:
    """Number of the present beat, and whether it has just begun; 0 before the count-in and while nothing moves."""
    if state.phase not in (Phase.COUNT_IN, Phase.PLAYING, Phase.PAUSED) or state.stands:
        return 0, False
    now, bar = state.now_us, present_bar(state)
    if now < state.begin_us:
        if not state.begin_us and now < -state.columns.count_in_us:
            return 0, False
        length = bar.end_us - bar.start_us
        now -= (now - state.begin_us) // length * length
    if now >= bar.end_us:
        return 0, False
    begun = [us for us in bar.beat_us if us <= now]
    edges = [*bar.beat_us, bar.end_us]
    length = edges[len(begun)] - edges[len(begun) - 1]
    return len(begun), now - begun[-1] < _FLASH * length


def beats_line(state: State) -> Line:
    """The beats of the present bar, the present one in brackets."""
    line: Line = [Span("  beat".ljust(GUTTER))]
    beat, lit = beat_now(state)
    for number in range(1, _beats(state) + 1):
        line.append(Span(f"[{number}]" if number == beat else f" {number} ", "now" if lit and number == beat else ""))
        line.append(Span(" "))
    return line


def large_beat(state: State, width: int, glyphs: Glyphs) -> list[Line]:
    """The present beat in `LARGE_LINES` lines: solid when it has just begun, of dots then."""
    beat, lit = beat_now(state)
    if not beat:
        return [[] for _ in range(LARGE_LINES)]
    each = min(_WIDEST, (width - GUTTER) // _beats(state))
    left = Span(" " * (GUTTER + (beat - 1) * each))
    return [
        [left, *_pixels(row, lit, glyphs)] for row in zip(*(_DIGITS[int(digit)] for digit in str(beat)), strict=True)
    ]


def _pixels(row: tuple[str, ...], lit: bool, glyphs: Glyphs) -> Line:
    """One line of a number; two columns make a pixel that is about as wide as high."""
    on = Span("  ", "now") if lit else Span(glyphs.empty * 2)
    return [on if pixel == "#" else Span("  ") for pixel in " ".join(row)]


def _beats(state: State) -> int:
    return len(present_bar(state).beat_us)
