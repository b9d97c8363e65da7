"""The comparison as a player reads it: which take, why, and whether it gets better."""

import numpy as np
import pytest

from heeltap.analysis.compare.progress import progress_over
from heeltap.analysis.compare.takes import Choice, Comparison, Cost, TakeRow
from heeltap.model.arrays import FloatArray
from heeltap.model.result import Replay
from heeltap.views.comparison import render_comparison
from tests.makers.judgements import week_of_tables


def comparison(spreads: FloatArray, *, same_part: bool = True) -> Comparison:
    """Takes with these spreads over one section, the numbers of the choice made up."""
    costs = tuple(Cost(float(spread), float(spread) / 100, 128, 0, 0) for spread in spreads)
    rows = tuple(TakeRow(128, -3.4, float(spread), None, cost) for spread, cost in zip(spreads, costs, strict=True))
    best, poorest = int(np.argmin(spreads)), int(np.argmax(spreads))
    close = tuple(int(i) for i in np.flatnonzero(spreads < spreads.min() + 3) if i != best)
    whole = Choice("", 1, 32, best, close, poorest, costs)
    part = Choice("verse", 1, 32, best, close, poorest, costs)
    progress = progress_over(week_of_tables(spreads.tolist(), np.random.default_rng(1)))
    return Comparison(rows, whole if same_part else None, (part,) if same_part else (), 25.0, progress)


def said(spreads: FloatArray, *, same_part: bool = True, delay_known: bool = True) -> str:
    """The text in one line."""
    names = [f"take{number:02d}" for number in range(1, len(spreads) + 1)]
    replay = [[Replay(3, 4, "in verse, 24 ms early", command="heeltap drill song.mid --bars 3-4")]] * len(spreads)
    text = render_comparison(
        names, comparison(spreads, same_part=same_part), replay, delay_known=delay_known, against="the drums"
    )
    assert max(map(len, text.splitlines())) <= 80
    return " ".join(text.split())


def test_the_take_to_use_is_named_with_numbers_and_by_its_own_name() -> None:
    """Best, what it has off and what the poorest has, and which are as good."""
    text = said(np.array([21.0, 9.0, 11.0, 15.0]))

    assert (
        "Use take02 for the whole part: 9 strokes in 100 are missed or outside the pocket, 25 ms from the drums;"
        in text
    )
    assert "take01 has 21. As good: take03." in text
    assert "verse 1-32 9 take02, or take03" in text
    assert "Play again, from take02 - bars 3-4: in verse, 24 ms early heeltap drill song.mid --bars 3-4" in text


def test_an_unknown_delay_is_followed_by_how_to_know_it() -> None:
    """Distances are then from the take's own middle."""
    text = said(np.array([21.0, 9.0]), delay_known=False)

    assert "25 ms from its own middle" in text
    assert "press u on the screens or type heeltap calibrate, two minutes" in text


@pytest.mark.parametrize(
    ("spreads", "words"),
    [
        (np.linspace(24, 9, 16), "You are getting tighter: your spread goes from "),
        (np.linspace(9, 24, 16), "You are getting looser: your spread goes from "),
        (
            np.concatenate([np.linspace(24, 10, 10), np.linspace(13, 24, 6)]),
            "it gets looser, to ",
        ),
        (np.array([12.0, 12.0, 12.0]), "No change that can be told yet: 2 more takes would show"),
        (np.full(8, 12.0), "No change that can be told"),
    ],
)
def test_am_i_improving_is_answered(spreads: FloatArray, words: str) -> None:
    """One answer, whichever it is."""
    assert words in said(spreads)


def test_other_material_is_asked_of_progress_alone() -> None:
    """Takes of other seeds have no take to use."""
    text = said(np.linspace(24, 9, 16), same_part=False)

    assert "Use " not in text
    assert "You are getting tighter" in text
