"""The running figure: the last strokes in words and signed milliseconds."""

from collections.abc import Sequence

import pytest

from heeltap.session.plan_columns import columns_of
from heeltap.session.session import Begin, Elapsed, Feedback, State, begin, step
from heeltap.views.bar_sheet import ASCII, UNICODE, plain
from heeltap.views.recent_strokes import recent_line
from tests.makers.drills import counted_plan, played


def a_state(
    offset_ms: Sequence[float | None],
    *,
    lean_ms: float = 0.0,
    pocket_ms: float | None = 25.0,
    until_us: int = 99_000_000,
) -> State:
    """Quarters at 120 bpm, played with these offsets."""
    plan = counted_plan(["1 2 3 4"] * 5)
    state = begin(columns_of(plan, lean_ms=lean_ms, pocket_ms=pocket_ms), Feedback.BAR)
    notes = [note for note in played(plan, [*offset_ms, *[None] * (20 - len(offset_ms))]) if note.at_us < until_us]
    for event in [Begin(), *notes, Elapsed(until_us)]:
        state, _ = step(state, event)
    return state


def text_of(state: State) -> str:
    """The line as it is read."""
    return plain([recent_line(state, UNICODE)])[0]


@pytest.mark.parametrize(
    ("offset_ms", "words"),
    [
        ([8.0] * 14 + [-26.0, -30.0], "  last 16: +4 ms ± 12, two of them early by more than 25"),
        ([8.0, 8.0, 8.0, 8.0], "  last 4: +8 ms ± 0, all in the pocket"),
        ([8.0, 40.0, -40.0, 8.0], "  last 4: +4 ms ± 33, one of them early and one of them late by more than 25"),
        ([40.0, None, 38.0], "  last 2: +39 ms, two of them late by more than 25"),
        ([-3.0], "  last 1: -3 ms, in the pocket"),
        ([None, None], ""),
    ],
)
def test_the_last_strokes_in_words(offset_ms: list[float | None], words: str) -> None:
    """Mean, spread from three strokes on, and how many lie outside the pocket on either side."""
    assert words == text_of(a_state(offset_ms))


def test_only_sixteen_count() -> None:
    """The seventeenth stroke pushes the first out."""
    assert text_of(a_state([100.0, *[5.0] * 16])).startswith("  last 16: +5 ms ± 0,")


def test_the_lean_is_said_and_early_means_before_it() -> None:
    """Offsets stand as on the sheet; what is early is earlier than the lean by more than the pocket."""
    words = text_of(a_state([20.0, 20.0, 20.0, -10.0], lean_ms=20.0))

    assert "  lean +20 ms  last 4: +12 ms ± 15, one of them early by more than 25" == words
    assert "  lean +20 ms" == text_of(a_state([], lean_ms=20.0))


def test_pockets_that_differ_are_not_given_as_one_number() -> None:
    """Where the pocket follows each stroke's own interval, the words say outside the pocket."""
    plan = counted_plan(["1 2& 3 4"])
    state = begin(columns_of(plan), Feedback.STROKE)
    for event in [Begin(), *played(plan, [60.0, 60.0, 60.0, 60.0, 60.0]), Elapsed(99_000_000)]:
        state, _ = step(state, event)

    assert "  last 5: +60 ms ± 0, five of them late outside the pocket" == text_of(state)


def test_numbers_that_may_not_be_seen_yet_do_not_count() -> None:
    """In the middle of the second bar only the first one counts."""
    assert text_of(a_state([5.0] * 8, until_us=3_200_000)).startswith("  last 4:")


def test_plain_terminals_get_plain_characters() -> None:
    """The sign of the spread is spelt out."""
    assert "+8 ms +- 0" in plain([recent_line(a_state([8.0] * 4), ASCII)])[0]
