"""What counts as done, and when two sets are the same."""

from dataclasses import replace

import pytest

from heeltap.files.toml.sets import set_from_toml
from heeltap.model.plan_from import plan_of
from heeltap.model.practice_set import Done, PracticeSet, fingerprint, is_done, meets
from tests.makers.sets import HAND_WRITTEN


def mark(practice: PracticeSet) -> str:
    """The fingerprint of a set of exercises."""
    return fingerprint(practice.items, [plan_of(item.exercise) for item in practice.items if item.exercise])


@pytest.mark.parametrize(
    ("done", "in_pocket", "spread_ms", "expected"),
    [
        (Done(), None, None, True),
        (Done(80.0), 0.8, None, True),
        (Done(80.0), 0.79, None, False),
        (Done(80.0), None, 5.0, False),
        (Done(None, 20.0), None, 20.0, True),
        (Done(None, 20.0), 1.0, 20.1, False),
        (Done(80.0, 20.0), 0.9, 21.0, False),
        (Done(80.0, 20.0), 0.9, 19.0, True),
    ],
)
def test_a_take_meets_both_marks_or_none(
    done: Done, in_pocket: float | None, spread_ms: float | None, expected: bool
) -> None:
    """At least so many in the pocket, at most so much spread; what was not measured does not meet a mark."""
    assert expected == meets(done, in_pocket=in_pocket, spread_ms=spread_ms)


def test_done_counts_the_takes_that_meet_the_marks() -> None:
    """Two of three, whichever two."""
    done = Done(80.0, None, 2)

    assert is_done(done, [(0.9, 10.0), (0.5, 10.0), (0.8, 99.0)])
    assert not is_done(done, [(0.9, 10.0), (0.5, 10.0)])
    assert not is_done(done, [])


def test_words_do_not_change_the_fingerprint() -> None:
    """Titles, notes and for whom are not played."""
    before = set_from_toml(HAND_WRITTEN)
    after = set_from_toml(
        HAND_WRITTEN.replace("Week three", "Week 3").replace("aloud", "softly").replace("Eighths in", "In")
    )

    assert before != after
    assert mark(before) == mark(after)
    assert (64, set()) == (len(mark(before)), set(mark(before)) - set("0123456789abcdef"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("grade = 1", "grade = 2"),
        ("seed = 5", "seed = 6"),
        ("bars = 12", "bars = 13"),
        ("[72, 76, 80]", "[72, 76, 81]"),
        ("[72, 76, 80]", "72"),
        ("tempo_bpm = 66", "tempo_bpm = 67"),
        ('click = "bars 2+2"', 'click = "bars 2+3"'),
        ("every_bars = 4", "every_bars = 6"),
        ("lean_ms = 10", "lean_ms = 11"),
        ('lean_ms = "auto"', "lean_ms = 20"),
        ("pocket_ms = 25", "pocket_ms = 26"),
        ("takes = 3", "takes = 4"),
        ("in_pocket_percent = 80", "in_pocket_percent = 81"),
        ("spread_ms = 20", "spread_ms = 21"),
    ],
)
def test_whatever_is_played_or_judged_changes_the_fingerprint(old: str, new: str) -> None:
    """One number, another set."""
    assert old in HAND_WRITTEN

    assert mark(set_from_toml(HAND_WRITTEN)) != mark(set_from_toml(HAND_WRITTEN.replace(old, new, 1)))


def test_the_order_is_part_of_the_set() -> None:
    """The same two exercises the other way round are another set."""
    practice = set_from_toml(HAND_WRITTEN)

    assert mark(practice) != mark(replace(practice, items=practice.items[::-1]))
