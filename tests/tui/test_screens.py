"""Every screen as text at two sizes, against approved pictures; ``python -m tests.makers.screens`` writes them again."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.tui.page import Look
from heeltap.tui.screens.history import Order, draw_history, ordered, week_medians
from heeltap.tui.screens.set_up import draw_set_up
from heeltap.tui.screens.start import draw_start, lines_of
from heeltap.views.bar_sheet import ASCII, UNICODE, plain
from tests.makers.amounts import amount
from tests.makers.screens import GOLDEN, NOTHING, NOW, SETUP, SIZES, TAKES, TODAY, pictures, text_of

NAMES = sorted(pictures(80, 24))


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("name", NAMES)
def test_the_screen_is_the_approved_one(name: str, width: int, height: int) -> None:
    """Word for word, line for line."""
    approved = (GOLDEN / f"{name}-{width}x{height}.txt").read_text(encoding="utf-8")

    assert approved == text_of(pictures(width, height)[name])


@given(width=st.integers(1, 200), height=st.integers(1, 60), name=st.sampled_from(NAMES))
@settings(max_examples=amount(60, fast=4))
def test_every_size_gives_exactly_that_many_lines(width: int, height: int, name: str) -> None:
    """As many lines as the terminal has, none wider; below the least size it says what is needed."""
    lines = plain(pictures(width, height)[name])

    assert len(lines) == height
    if width >= 80:
        assert max(map(len, lines)) <= width
    if height >= 16 and 40 <= width < 60 and name != "report":
        assert lines[1] == "60 x 16 is needed."


def test_ascii_terminals_get_ascii() -> None:
    """Start, history and set-up have no other character where there are no others."""
    look = Look(80, 24, ASCII)
    screens = [
        draw_start(TODAY, 0, look),
        draw_history(TAKES, Order.DAY, 0, look, until=NOW),
        draw_set_up(SETUP, 0, look),
    ]

    assert all("\n".join(plain(lines)).isascii() for lines in screens)


def test_the_first_row_is_what_the_takes_ask_for() -> None:
    """Then come the exercises of the set, in its order; without either there is nothing to choose."""
    assert ["split one-beat", "first-week:1", "first-week:2", "first-week:3"] == [
        line.choice.what for line in lines_of(TODAY)
    ]
    assert lines_of(replace(TODAY, step=None, due=())) == ()


def test_a_long_set_scrolls_with_the_choice() -> None:
    """The chosen row is on the screen, wherever it is in the set."""
    due = tuple(replace(TODAY.due[1], number=n, title=f"Exercise {n}") for n in range(1, 61))
    long = replace(TODAY, due=due)

    for chosen in (1, 30, 60):
        text = "\n".join(plain(draw_start(long, chosen, Look(80, 24, UNICODE))))
        assert f"> {chosen:>2}  Exercise {chosen} " in text


def test_no_port_says_what_to_do() -> None:
    """What is missing, how to go on, and how to try without."""
    text = " ".join(" ".join(plain(draw_start(NOTHING, 0, Look()))).split())

    assert "No keyboard or pads found. Plug one in and press r." in text
    assert "not for judging your timing" in text


def test_orders_of_the_history() -> None:
    """By day the newest is first; by exercise and by tempo the newest of each."""
    days = [take.date[:10] for take in ordered(TAKES, Order.DAY)]
    exercises = [(take.family, take.grade) for take in ordered(TAKES, Order.EXERCISE)]
    tempi = [take.tempo_bpm for take in ordered(TAKES, Order.TEMPO)]

    assert days == sorted(days, reverse=True)
    assert exercises == sorted(exercises)
    assert tempi == sorted(tempi)
    assert ordered(TAKES, Order.EXERCISE)[0].date[:10] == "2026-01-29"


def test_the_weeks_are_medians_of_the_scatter() -> None:
    """The present week is last; a week without a number has none; a take without scatter does not count."""
    values = week_medians(TAKES, NOW.date(), 8)

    assert values == [21.0, None, 18.0, None, 16.0, None, 15.0, 12.5]
