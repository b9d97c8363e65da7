"""The beat to be seen: which one, where it stands, when it is lit, on which screens it is large."""

from dataclasses import replace

import pytest

from heeltap.session.session import Phase, State
from heeltap.tui.screens.drill import View, draw_drill
from heeltap.tui.screens.drill_beat import LARGE_LINES, beat_now, beats_line, large_beat
from heeltap.views.bar_sheet import ASCII, UNICODE, plain
from tests.makers.screens import a_drill_state

BEAT_US = 500_000


def at(us: int, phase: Phase = Phase.PLAYING) -> State:
    """Quarters at 120 bpm, at a moment."""
    return replace(a_drill_state(0), phase=phase, now_us=us)


@pytest.mark.parametrize(
    ("us", "expected"),
    [
        (0, (1, True)),
        (170_000, (1, True)),
        (180_000, (1, False)),
        (BEAT_US, (2, True)),
        (3 * BEAT_US + 400_000, (4, False)),
        (4 * BEAT_US, (1, True)),
        (-BEAT_US, (4, True)),
        (-4 * BEAT_US, (1, True)),
        (-5 * BEAT_US, (0, False)),
    ],
)
def test_the_beat_follows_the_clock(us: int, expected: tuple[int, bool]) -> None:
    """Lit for a third of its length; the count-in counts too, what lies before it does not."""
    assert beat_now(at(us)) == expected


def test_no_beat_where_nothing_is_played() -> None:
    """Before and after a take no beat is shown, in the line or large."""
    for phase in (Phase.READY, Phase.DONE):
        assert beat_now(at(0, phase)) == (0, False)
        assert large_beat(at(0, phase), 120, UNICODE) == [[]] * LARGE_LINES
        assert "[" not in plain([beats_line(at(0, phase))])[0]


def test_the_large_beat_stands_further_right_with_every_beat() -> None:
    """Each in a place of its own, and all of it on the screen, however narrow."""
    for width in (60, 80, 200):
        lines = [plain(large_beat(at(beat * BEAT_US + 300_000), width, ASCII)) for beat in range(4)]
        left = [min(len(line) - len(line.lstrip()) for line in rows) for rows in lines]
        right = [max(map(len, rows)) for rows in lines]

        assert left == sorted(set(left))
        assert all(a < b for a, b in zip(right[:-1], left[1:], strict=True))
        assert right[-1] <= width


def test_a_lit_beat_is_solid_and_an_older_one_of_dots() -> None:
    """The same pixels both times: reverse spaces, so that it can be seen without colours, then the dots of the glyphs."""
    lit, old = (large_beat(at(us), 80, ASCII) for us in (2 * BEAT_US, 2 * BEAT_US + 300_000))
    solid = [[span.role == "now" for span in line] for line in lit]
    dotted = [[span.text == ".." for span in line] for line in old]

    assert solid == dotted
    assert sum(map(sum, solid)) == 11  # the pixels of a 3


def test_only_a_tall_screen_has_it() -> None:
    """Where something sounds, on 24 lines the bars need the room; on 40 both are there."""
    state = at(2 * BEAT_US)
    solid = [
        sum(span.role == "now" and span.text == "  " for line in draw_drill(state, view) for span in line)
        for view in (View(80, 24, UNICODE, "a", "b"), View(120, 40, UNICODE, "a", "b"))
    ]

    assert solid == [0, 11]


def test_where_nothing_sounds_every_screen_has_it() -> None:
    """The beat can be followed from the side at 80x24, too, with a row of bars beside it; on 17 lines the bars need the room."""
    state = at(2 * BEAT_US)
    lines = draw_drill(state, View(80, 24, UNICODE, "a", "b", silent=True))
    ready = draw_drill(replace(state, phase=Phase.READY), View(80, 24, UNICODE, "a", "b", silent=True))

    small = draw_drill(state, View(80, 17, UNICODE, "a", "b", silent=True))

    assert 11 == sum(span.role == "now" and span.text == "  " for line in lines for span in line)
    assert [] == [span for line in small for span in line if span.role == "now" and span.text == "  "]
    assert any(line.startswith("> bar 1") for line in plain(lines))
    assert (
        sum(bool(line.strip()) for line in plain(ready))
        > sum(bool(line.strip()) for line in plain(lines)) - LARGE_LINES
    )
