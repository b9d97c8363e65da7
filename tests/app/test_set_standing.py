"""How far a player is with an exercise of a set, and what is said of a take that was just played."""

from dataclasses import replace

import pytest

from heeltap.app.practice.set_standing import Standing, counts_words, marks_words, standing_of, standing_words
from heeltap.app.practice.sets import open_set
from heeltap.model.past_take import PastTake
from heeltap.model.practice_set import Done
from tests.makers.screens import past_take

OPENED = open_set("first-week")


def takes_of(shares: list[float], bpm: float = 72.0) -> list[PastTake]:
    """Takes of the first exercise of the first week, with these shares in the pocket."""
    work = OPENED.works[0]
    assert work.item.exercise is not None
    name, seed = work.item.exercise.name, work.seed
    rows = [
        past_take(f"2026-03-01T18:00:{i:02d}+01:00", "anchor", "backbeat", bpm, 0.0, 9.0) for i in range(len(shares))
    ]
    return [
        replace(row, exercise=name, seed=seed, in_pocket=share, folder=f"take-{at}")
        for at, (row, share) in enumerate(zip(rows, shares, strict=True))
    ]


def standing(shares: list[float], bpm: float | None = None) -> Standing:
    """The first exercise after takes at 72 bpm; its set asks for three takes, two of them with 70 % in the pocket."""
    return standing_of(OPENED, OPENED.works[0], takes_of(shares), bpm)


@pytest.mark.parametrize(
    ("shares", "wanted"),
    [([], 3), ([0.9], 2), ([0.9, 0.2], 1), ([0.2, 0.2], 2), ([0.2, 0.2, 0.2], 2), ([0.7, 0.7, 0.1], 0)],
)
def test_takes_that_are_still_wanted(shares: list[float], wanted: int) -> None:
    """Three takes, two of which meet the marks: the larger of the two gaps."""
    assert wanted == standing(shares, 72.0).wanted


def test_the_next_tempo_follows_the_one_that_is_done() -> None:
    """72 bpm until it is done, then 80; a tempo that is asked about stays."""
    assert [72, 80, 72] == [
        standing([0.9]).tempo_bpm,
        standing([0.9] * 3).tempo_bpm,
        standing([0.9] * 3, 72.2).tempo_bpm,
    ]


def test_what_the_set_asks_for_in_words() -> None:
    """Marks, takes, and what of it is there."""
    head = "First week: find the beat, exercise 1: 3 takes at 72 bpm, 2 of them with at least 70 % in the pocket."

    assert f"{head} You have none so far; play 3 more." == standing_words(standing([], 72.0))
    assert f"{head} You have 1 so far; play 2 more." == standing_words(standing([0.9], 72.0))
    assert f"{head} You have done this tempo." == standing_words(standing([0.9] * 3, 72.0))
    assert "a spread of 12 ms at most" == marks_words(Done(spread_ms=12.0))
    assert "" == marks_words(Done())


def test_whether_a_take_counts() -> None:
    """It counts, it misses the marks, or the set asks for another tempo or the whole of it."""
    two = standing([0.9, 0.5], 72.0)

    assert "This take counts for your set. You have 2 so far; play 1 more." == counts_words(two, "take-0")
    assert counts_words(two, "take-1").startswith(
        "This take misses the marks of your set (at least 70 % in the pocket). You have 2 so far"
    )
    assert "does not count for your set: play all of it at 72 bpm" in counts_words(two, "elsewhere")
