"""Recipes, draws, cells and fills."""

from collections import Counter

import pytest

from heeltap.course.recipes import Draws, FillRecipe, build_bar, check_recipe, fill_bar
from heeltap.errors import PlanError
from heeltap.model.exercise import METRES, Voice, parse_metre
from heeltap.model.timeline import Metre

ANY = (Voice("any"),)
CELLS = {
    "beat": ("1", "1", "1"),
    "eighths": ("1&", "1 2", "1 2 3"),
    "late": ("(1)&", "(1) 2", "(1) (2) 3"),
}


def _bar(recipe: str, metre: str, accent: str = "", seed: int = 1) -> str:
    return build_bar(recipe, parse_metre(metre), ANY, CELLS, Draws(seed), accent=accent)[0]


def test_draws_are_the_same_for_ever() -> None:
    """Six numbers below ten, pinned: the first eight bytes of sha256("a/1/0"), "a/1/1", ... times ten over 2**64."""
    draws = Draws("a", 1)

    assert [0, 2, 9, 5, 0, 4] == [draws.below(10) for _ in range(6)]


def test_draws_are_even() -> None:
    """Of 6,000 draws from six each comes up within five standard deviations of 1,000."""
    draws = Draws("evenness")

    counts = Counter(draws.below(6) for _ in range(6_000))

    assert {0, 1, 2, 3, 4, 5} == set(counts)
    assert all(abs(n - 1_000) < 5 * 28.9 for n in counts.values())


def test_an_order_is_a_permutation() -> None:
    """Nothing is lost, nothing comes twice."""
    assert list(range(9)) == sorted(Draws("x").order(9))


@pytest.mark.parametrize(
    ("recipe", "metre", "bar"),
    [
        ("back:beat", "4/4", "2 4"),
        ("back:beat", "3/4", "2 3"),
        ("back:beat", "6/8", "4"),
        ("strong:beat", "7/8", "1"),
        ("all:beat", "7/8", "1 3 5"),
        ("all:eighths", "7/8", "1 2 3 4 5 6 7"),
        ("all:late", "6/8", "3 6"),
        ("all:late", "2/4", "(1)& (2)&"),
        ("all:beat last:eighths", "5/4", "1 2 3 4 5&"),
        ("one:beat others:eighths", "3/4", "1 2& 3&"),
        ("all:beat one:rest", "4/4", "2 3 4"),
        ("-", "4/4", "-"),
    ],
)
def test_a_recipe_holds_in_every_metre(recipe: str, metre: str, bar: str) -> None:
    """Places and cells mean the same thing whatever the bar is made of."""
    assert bar == _bar(recipe, metre)


def test_any_leaves_the_rest_to_others() -> None:
    """One drawn beat rests, the others do not; over many seeds every beat has its turn."""
    bars = {_bar("any:rest others:beat", "4/4", seed=seed) for seed in range(60)}

    assert {"2 3 4", "1 3 4", "1 2 4", "1 2 3"} == bars


def test_accents_fall_on_their_place_only() -> None:
    """An accented place marks the stroke on the beat, not what lies between."""
    assert "1& >2& 3& >4&" == _bar("all:eighths", "4/4", accent="back")


def test_voices_are_written_side_by_side() -> None:
    """A voice that is not named rests."""
    voices = (Voice("left"), Voice("right"), Voice("foot"))

    assert ("1 3", "2 4", "-") == build_bar("left=strong:beat; right=back:beat", Metre(4, 4), voices, CELLS, Draws(1))


@pytest.mark.parametrize("metre", METRES)
def test_a_fill_replaces_the_end_of_the_bar(metre: str) -> None:
    """The groove stands up to the fill; a fill longer than the bar is the whole bar."""
    bar, fill = (_bar("all:beat", metre),), FillRecipe(1, ("eighths",))
    starts = METRES[metre].starts

    lines, unit = fill_bar(bar, fill, 1, parse_metre(metre), ANY, CELLS, Draws(1))
    whole, first = fill_bar(bar, fill, 99, parse_metre(metre), ANY, CELLS, Draws(1))

    assert starts[-1] == unit
    assert _bar("all:beat last:eighths", metre) == lines[0]
    assert (1, _bar("all:eighths", metre)) == (first, whole[0])


def test_others_rest_while_one_fills() -> None:
    """Only the fill's voice plays from where it starts."""
    voices = (Voice("kick"), Voice("snare"))
    fill = FillRecipe(2, ("eighths",), voice="snare")

    assert (("1 2", "1 3& 4&"), 3) == fill_bar(("1 2 3 4", "1 3"), fill, 2, Metre(4, 4), voices, CELLS, Draws(1))


@pytest.mark.parametrize(
    ("recipe", "told"),
    [
        ("bak:beat", "nearest: back"),
        ("back:beet", "nearest: beat"),
        ("back", "expected beats:cell"),
        ("lefd=back:beat", "nearest: left"),
    ],
)
def test_a_recipe_with_a_slip_names_the_nearest_word(recipe: str, told: str) -> None:
    """Voice, place and cell are each checked against what there is."""
    with pytest.raises(PlanError, match=told):
        check_recipe(recipe, (Voice("left"),), CELLS, "here")
