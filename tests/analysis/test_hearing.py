"""How small a shift somebody hears: the staircase's steps, and whether the stated interval holds for simulated listeners."""

import numpy as np
import pytest

from heeltap.analysis.hearing.staircase import FIRST_MS, LEVELS_MS, next_level_ms
from heeltap.analysis.hearing.threshold import threshold_of_choices, threshold_of_sides
from tests.makers.amounts import amount
from tests.makers.listeners import Listener, listeners, measured


@pytest.mark.parametrize(
    ("right", "level_ms"),
    [
        ([], FIRST_MS),
        ([True], FIRST_MS),
        ([True, True], FIRST_MS / 1.6),
        ([False], FIRST_MS * 1.6),
        ([True, False], FIRST_MS * 1.6),
        ([True, True, False], FIRST_MS),
        ([True, True, False, True, True], FIRST_MS / 1.25),
        ([True, True, False, True, True, False], FIRST_MS),
        ([True, True] * 30, LEVELS_MS[0]),
        ([False] * 30, LEVELS_MS[1]),
    ],
)
def test_two_right_make_it_smaller_and_one_wrong_larger(right: list[bool], level_ms: float) -> None:
    """The rule of two down, one up (Levitt 1971, from memory); after two turns the steps are finer."""
    assert level_ms == pytest.approx(next_level_ms([1.0] * len(right), right))


def test_as_many_levels_as_answers() -> None:
    """Else it is a mistake of the caller's."""
    with pytest.raises(ValueError, match="1 levels and 2 answers"):
        next_level_ms([1.0], [True, False])


def test_it_hovers_where_seven_in_ten_are_right() -> None:
    """0.707 is where two right in a row are as likely as not: of a listener's later answers so many are right."""
    rng = np.random.default_rng(2)
    who = Listener(40.0, lapse=0.0)
    levels: list[float] = []
    right: list[bool] = []
    for _ in range(amount(3_000, fast=1_200)):
        level = next_level_ms(levels[-60:], right[-60:]) if levels else FIRST_MS
        levels.append(level)
        right.append(who.says(level, rng))

    assert 0.707 == pytest.approx(np.mean(right[100:]), abs=0.05)


@pytest.mark.parametrize("sides", [True, False])
def test_the_interval_holds_for_simulated_listeners(sides: bool) -> None:
    """Of listeners with 3 % lapses the 95 % interval holds the true threshold in at least 93 of 100."""
    rng = np.random.default_rng(11)
    people = listeners(rng, amount(500, fast=60), sides=sides)
    found = [(who, measured(who, rng, sides=sides)) for who in people]
    held = [one.ci95_ms[0] <= who.threshold_ms <= one.ci95_ms[1] for who, one in found if one is not None]
    ratio = [one.value_ms / who.threshold_ms for who, one in found if one is not None]

    assert np.mean(held) >= (0.93 if len(people) >= 500 else 0.88)
    assert len(held) >= 0.97 * len(people)
    assert 1.0 == pytest.approx(np.median(ratio), abs=0.15)


@pytest.mark.parametrize("sides", [True, False])
def test_who_guesses_cannot_be_measured(sides: bool) -> None:
    """At most one in twenty gets a threshold by luck."""
    rng = np.random.default_rng(12)
    count = amount(300, fast=60)
    by_luck = sum(measured(Listener(1.0, guesses=True), rng, sides=sides) is not None for _ in range(count))

    assert by_luck <= 0.05 * count


def test_a_leaning_is_no_deafness() -> None:
    """Who needs 15 ms late to call it on the beat hears as finely as others, and it is told beside."""
    rng = np.random.default_rng(13)
    found = [measured(Listener(20.0, 15.0), rng, sides=True, answers=200) for _ in range(12)]
    known = [one for one in found if one is not None]

    assert 13.5 == pytest.approx(np.median([one.value_ms for one in known]), rel=0.2)
    assert 15.0 == pytest.approx(np.median([one.leaning_ms for one in known]), abs=4.0)


def test_nothing_answered_is_nothing_measured() -> None:
    """No answers, no threshold."""
    assert threshold_of_sides([], []) is None
    assert threshold_of_choices([], []) is None
