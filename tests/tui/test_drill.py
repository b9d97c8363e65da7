"""The drill screen as text: what a player reads at every size, without a terminal."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.app.drill.changes import Change, before
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.ranges import drill_bars
from heeltap.app.drill.run import Settings
from heeltap.model.plan import Section
from heeltap.session.plan_columns import columns_of
from heeltap.session.session import (
    NO_INPUT,
    Begin,
    Elapsed,
    Feedback,
    Lost,
    Note,
    Pause,
    Phase,
    Resume,
    Show,
    State,
    Stop,
    begin,
    step,
)
from heeltap.tui.page import clean, clip
from heeltap.tui.screens.drill import View, draw_drill, rows_shown, view_of
from heeltap.tui.screens.drill_keys import drill_keys
from heeltap.views.bar_sheet import ASCII, UNICODE, Glyphs, bar_block, glyphs_for, gutter_of, least_width, plain, signed
from tests.makers.amounts import amount
from tests.makers.drills import counted_plan, played

VIEW = View(80, 24, UNICODE, "Two and four · 4/4 · 120 bpm", "in Pad, click Synth", aim="Hold the backbeat.")


def a_state(*events: object, lean_ms: float = 0.0, feedback: Feedback = Feedback.BAR) -> State:
    """A drill of five bars in which the first bar and a half were played."""
    plan = counted_plan(
        ["1 2& 3 4", "1 2 3 4&", "-", "1e&a 2e&a 3e&a 4e&a", "1"],
        sections=[Section("verse", 1, 3), Section("chorus", 4, 5)],
    )
    state = begin(columns_of(plan, lean_ms=lean_ms), feedback)
    offsets = [-4.0, 11.0, 9.0, None, 38.0, 0.0, 12.0, *[None] * 20]
    notes = [Note(1_700_000, 60, 80), *played(plan, offsets[: int(plan.stroke[-1]) + 1])]
    for event in [Begin(), *sorted(notes, key=lambda note: note.at_us), Elapsed(2_700_000), *events]:
        state, _ = step(state, event)
    return state


EXPECTED = """\
  Two and four · 4/4 · 120 bpm                                      bar 2 of 5
  beat           1  [2]  3   4    in Pad, click Synth
  verse

  bar 1 · verse 1       &       2       &       3       &       4       &
  plan          o               o       o       o               o
  1 extra       -4              +11     +9      left out        +38

> bar 2 · verse 1       &       2       &       3       &       4       &
  plan          o               o               o               o       o
  played        •               •

  bar 3 · verse 1       &       2       &       3       &       4       &
  plan          rest
  played

  bar 4 · chor~ 1   e   &   a   2   e   &   a   3   e   &   a   4   e   &   a
  plan          o   o   o   o   o   o   o   o   o   o   o   o   o   o   o   o
  played

  last 4: +14 ms ± 18, one of them late outside the pocket
  o stroke  # accent  • heard  -12 early  x left out  k other key  ? not judged
  esc stop  p pause  o leave out  n numbers: each bar  r again  -  + tempo
  m simpler  ? help  q quit"""


def shown(state: State, view: View = VIEW) -> list[str]:
    """The screen as plain lines."""
    return plain(draw_drill(state, replace(view, keys=drill_keys(state.phase, state.feedback, stands=state.stands))))


def test_the_screen_reads_as_designed() -> None:
    """Finished bars carry their milliseconds, the present one is marked, what comes is there to read ahead."""
    assert "\n".join(shown(a_state())) == EXPECTED


def test_numbers_at_each_stroke_come_at_once() -> None:
    """With feedback at each stroke the present bar has its numbers; after the take no bar has."""
    text = "\n".join(shown(a_state(Show(Feedback.STROKE))))
    quiet = "\n".join(shown(a_state(Show(Feedback.AFTER))))

    assert "played        0               +12" in text
    assert "last 6" in text
    assert not any(number in quiet for number in ("+38", "+11", "  left out", "last"))
    assert "•" in quiet


def test_plain_characters_where_there_are_no_others() -> None:
    """On an ASCII terminal every line is ASCII and nothing is missing."""
    lines = shown(a_state(), replace(VIEW, glyphs=ASCII, title="Two and four - 4/4"))

    assert all(line.isascii() for line in lines)
    assert any("* heard" in line for line in lines)
    assert glyphs_for("ascii") is ASCII
    assert glyphs_for("latin-1") is ASCII
    assert glyphs_for("utf-8") is UNICODE
    assert glyphs_for(None) is ASCII


def test_wide_terminals_show_more_bars() -> None:
    """Bars stand beside each other where they fit, more rows where there is room."""
    columns = a_state().columns
    wide = shown(a_state(), replace(VIEW, width=2 * (16 + least_width(columns)) + 2, height=40))
    tall = shown(a_state(), replace(VIEW, height=40))

    assert any("bar 1" in line and "bar 2" in line for line in wide)
    assert sum("bar " in line and "verse" in line for line in tall) == 3
    assert any("bar 5" in line for line in tall)


def test_a_terminal_that_is_too_small_says_so() -> None:
    """It says how large it is and how large it must be, and never draws more than there is."""
    lines = shown(a_state(), replace(VIEW, width=40, height=10))

    assert lines[:2] == ["40 x 10 is too small;", "60 x 16 is needed."]
    assert len(lines) == 10


def test_a_lost_input_is_said_in_words() -> None:
    """A line of its own tells what to do, whole at 80 columns."""
    assert f"  {NO_INPUT}" == shown(a_state(Lost(2_700_001)))[2].rstrip()


@pytest.mark.parametrize(
    ("events", "phase", "words"),
    [
        ((), Phase.PLAYING, "esc stop  p pause  o leave out"),
        ((Pause(2_700_001, stands=True),), Phase.PAUSED, "esc stop  p go on  n numbers"),
        ((Pause(2_700_001),), Phase.PAUSED, "esc stop  o judge again  n numbers"),
        ((Stop(2_700_001),), Phase.DONE, "enter again"),
    ],
)
def test_the_keys_are_those_that_do_something(events: tuple[object, ...], phase: Phase, words: str) -> None:
    """The last line follows the phase."""
    state = a_state(*events)

    assert state.phase is phase
    assert words in shown(state)[-2]


def test_the_count_in_shows_its_beats() -> None:
    """Before bar 1 the beat is seen, so that no sound is needed; before the count-in none is."""
    columns = a_state().columns
    state = step(begin(columns), Begin())[0]

    rows = [shown(step(state, Elapsed(us))[0])[1] for us in (-2_100_000, -2_000_000, -1_499_000, -1, 0)]

    assert [row.count("[") for row in rows] == [0, 1, 1, 1, 1]
    assert ["[1]" in rows[1], "[2]" in rows[2], "[4]" in rows[3], "[1]" in rows[4]] == [True] * 4


def test_names_cannot_draw() -> None:
    """Escape sequences, newlines and markup in a name are shown as text, and wide characters are counted as such."""
    evil = "Pad\x1b[2J\r\n[bold]x[/bold]"
    lines = shown(a_state(), replace(VIEW, ports=evil, title=evil))

    assert not any(character in "".join(lines) for character in "\x1b\r\n")
    assert any("[bold]x[/bold]" in line for line in lines)
    assert clean("a\tb\x00") == "a?b?"
    assert clip("太鼓太鼓", 5) == "太~"
    assert clip("abc", 3) == "abc"


def test_rows_fill_the_room_from_the_wanted_one_on() -> None:
    """As many as fit with a blank line between two; the last ones leave no room empty that an earlier one could take."""
    assert [rows_shown(lambda _: 3, 10, 15, wanted) for wanted in (-1, 0, 1, 4, 8, 99)] == [
        range(4), range(4), range(1, 5), range(4, 8), range(6, 10), range(6, 10)
    ]  # fmt: skip
    assert rows_shown(lambda _: 3, 2, 15, 0) == range(2)


def test_rows_may_be_of_different_heights() -> None:
    """A row with more hands or a fill takes more lines; one that is too high for the room stands alone."""
    heights = [3, 6, 4, 3, 9]

    assert rows_shown(heights.__getitem__, 5, 15, 0) == range(3)
    assert rows_shown(heights.__getitem__, 5, 14, 0) == range(2)
    assert rows_shown(heights.__getitem__, 5, 15, 3) == range(3, 5)
    assert rows_shown(heights.__getitem__, 5, 8, 4) == range(4, 5)


def test_what_comes_is_said_before_it_comes() -> None:
    """Bars to the next two changes; one that is in the next bar stands out; one that is here is named."""
    view = replace(VIEW, changes=(Change(3, "fill"), Change(4, "chorus landing")))
    lines = [shown(a_state(Elapsed(us)), view)[2] for us in (2_700_001, 4_100_000, 6_100_000, 8_100_000)]

    assert lines == [
        "  verse   next bar: fill   chorus landing in 2 bars",
        "  verse   now: fill   next bar: chorus landing",
        "  chorus   now: chorus landing",
        "  chorus",
    ]


def test_bars_out_of_sight_can_be_scrolled_to() -> None:
    """After the take every bar can be looked at again, and nothing scrolls past the ends."""
    state = a_state(Elapsed(11_000_000))
    rows = [shown(state, replace(VIEW, scroll=scroll))[4].split()[:2] for scroll in (0, -1, -99, 99)]

    assert state.phase is Phase.DONE
    assert rows == [["bar", "2"], ["bar", "1"], ["bar", "1"], ["bar", "2"]]


def test_whole_milliseconds_with_their_sign() -> None:
    """Minus is early; what rounds to nothing is 0 without a sign."""
    assert [signed(us) for us in (-12_400, 400, -400, 11_600)] == ["-12", "0", "0", "+12"]


@given(
    width=st.integers(1, 200),
    height=st.integers(1, 60),
    at_us=st.integers(-3_000_000, 11_000_000),
    feedback=st.sampled_from(list(Feedback)),
    glyphs=st.sampled_from([UNICODE, ASCII]),
    title=st.text(max_size=100),
)
@settings(max_examples=amount(150, fast=37))
def test_every_size_gives_exactly_that_many_lines(
    width: int, height: int, at_us: int, feedback: Feedback, glyphs: Glyphs, title: str
) -> None:
    """Whatever the terminal, the moment and the name: as many lines as asked for, none wider than the terminal."""
    state = a_state(Show(feedback), Elapsed(at_us))
    view = replace(VIEW, width=width, height=height, glyphs=glyphs, title=title)

    lines = draw_drill(state, view)

    assert len(lines) == height
    if width >= 80:
        assert max(len(line) for line in plain(lines)) <= width
    assert gutter_of(state.columns, glyphs) >= 12


def test_a_number_without_room_is_not_cut_to_another() -> None:
    """Where a column is too narrow a number becomes ``~``; it never loses a digit."""
    plan = counted_plan(["1e&a"], bpm=40.0)
    state = begin(columns_of(plan), Feedback.STROKE)
    for event in [Begin(), *played(plan, [-120.0, None, 40.0, 130.0]), Elapsed(2_500_000)]:
        state, _ = step(state, event)

    rows = [plain(bar_block(state, state.columns.bars, width, UNICODE))[2].split() for width in (64, 48)]

    assert rows == [["played", "-120x", "+40", "+130"], ["played", "~", "x", "+40+130"]]


@pytest.mark.parametrize(
    ("bars", "passes", "at", "words"),
    [
        (None, 1, 2, "bar 3 of 16"),
        ((14, 16), 1, 1, "bar 15 of 14-16"),
        ((14, 14), 1, 0, "bar 14 of 14"),
        ((14, 16), 3, 4, "bar 15, pass 2 of 3"),
        ((1, 2), 2, 3, "bar 2, pass 2 of 2"),
    ],
)
def test_where_you_are_in_a_part_of_a_drill(bars: tuple[int, int] | None, passes: int, at: int, words: str) -> None:
    """Bars keep the numbers that they have in the whole; a loop says which pass it is."""
    drill = drill_bars(drill_of("anchor 3"), bars, passes=passes)
    state = before(drill, Feedback.BAR)
    state = replace(state, phase=Phase.PLAYING, now_us=state.columns.bars[at].start_us + 1)

    first = shown(state, view_of(drill, Settings("Pad"), UNICODE))[0]

    assert first.endswith(f" {words}")


def test_a_pause_says_where_and_counts_in_again() -> None:
    """Paused: no beat moves. Gone on: the count leads to the bar in which the take was paused, which is on the screen."""
    paused = a_state(Pause(2_700_001, stands=True))
    counted = [step(paused, Resume(us, from_us=2_000_000))[0] for us in (0, 1_499_999, 2_000_000 - 1)]
    again = step(counted[0], Elapsed(2_000_000))[0]

    assert shown(paused)[0].endswith("paused in bar 2")
    assert "[" not in shown(paused)[1]
    assert ["count-in to bar 2"] * 3 == [shown(state)[0][-17:] for state in counted]
    assert ["[1]", "[3]", "[4]"] == [re.findall(r"\[\d\]", shown(state)[1])[0] for state in counted]
    assert all(any(line.startswith("  bar 2 ") for line in shown(state)) for state in counted)
    assert not any(line.startswith("> ") for state in counted for line in shown(state))
    assert shown(again)[0].endswith("bar 2 of 5")
    assert any(line.startswith("> bar 2 ") for line in shown(again))


def test_bars_that_are_left_out_are_said_and_marked() -> None:
    """The click goes on and so do the bars; under their strokes stands that nobody judges them."""
    lines = shown(a_state(Pause(2_700_001), Elapsed(5_000_000)))

    assert lines[0].endswith("left out")
    assert "[3]" in lines[1]
    assert any(line.startswith("  played") and "?" in line for line in lines)


def test_to_another_devices_click_there_is_no_pause() -> None:
    """heeltap cannot stop it: only leaving out is offered."""
    names = [key.name for key in drill_keys(Phase.PLAYING, Feedback.BAR, own_click=False)]

    assert ("o" in names, "p" in names) == (True, False)
