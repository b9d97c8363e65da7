"""What comes next: one change at a time, never slower and simpler at once, retests, turns, rest."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heeltap.course.level import GradeTempo, Step, level_of
from heeltap.course.next_exercise import NextStep, next_step, weak_family
from heeltap.model.past_take import PastTake
from heeltap.model.tempo_step import faster, slower

START = datetime.fromisoformat("2026-03-02T18:00:00+01:00")

COURSE = {
    "anchor": [
        Step("anchor", f"a{n}", f"Anchor {n}", bpm, 240.0, 0.8 + 0.4 * n) for n, bpm in enumerate((96, 92, 104), 1)
    ],
    "split": [Step("split", f"s{n}", f"Split {n}", bpm, 120.0, 1.6 + 0.8 * n) for n, bpm in enumerate((72, 80, 88), 1)],
    "turn": [Step("turn", f"t{n}", f"Turn {n}", bpm, 110.0, 1.8 + 0.8 * n) for n, bpm in enumerate((76, 84), 1)],
}


def a_take(
    family: str,
    grade: int,
    bpm: float,
    held: float | None,
    *,
    minutes: float = 0.0,
    length_s: float = 40.0,
    **more: object,
) -> PastTake:
    """A take so many minutes after the start; the first grade of ``anchor`` is called a1, of ``turn`` t1."""
    date = (START + timedelta(minutes=minutes)).isoformat(timespec="seconds")
    fields: dict[str, object] = {
        "folder": date, "date": date, "exercise": f"{family}-{grade}", "title": "", "family": family,
        "grade": f"{family[:1]}{grade}",
        "seed": 1, "tempo_bpm": bpm, "lean_ms": 0.0, "length_s": length_s, "ending": "played", "n": 60,
        "bias_ms": 0.0, "spread_ms": 9.0, "in_pocket": held, "held": held, "score": 80.0, "planned": 60, "missed": 0,
        "extra": 0, "method": "given", "findings": (),
    }  # fmt: skip
    return PastTake(**{**fields, **more})


def after(*takes: PastTake, minutes: float | None = None) -> NextStep:
    """What comes a minute after the last take, or so many minutes after the start."""
    if minutes is None:
        minutes = max((datetime.fromisoformat(take.date) - START).total_seconds() / 60 for take in takes) + 1
    return next_step(takes, COURSE, START + timedelta(minutes=minutes))


def day(number: int) -> float:
    """Minutes from the start to the same hour of another day."""
    return 24.0 * 60 * number


def row(*shares: float, family: str = "anchor", grade: int = 1, bpm: float = 96.0) -> list[PastTake]:
    """Takes of one setting, a minute apart."""
    return [a_take(family, grade, bpm, share, minutes=n) for n, share in enumerate(shares)]


def shown(step: NextStep) -> tuple[str, str, int, float]:
    """Action, family, grade, tempo."""
    return step.action, step.family, int(step.grade[1:]), step.tempo_bpm


def test_the_first_exercise_is_the_first_anchor() -> None:
    """At its own tempo, with the reason why."""
    step = after(minutes=0)

    assert ("begin", "anchor", 1, 96.0) == shown(step)
    assert "anchor a1 --tempo 96" == step.exercise
    assert (
        "anchor a1 at 96 bpm (Anchor 1): the strong beats come first, and everything else hangs on them."
        == step.advice().text
    )


@pytest.mark.parametrize(
    ("takes", "expected"),
    [
        (row(1.0), ("again", "anchor", 1, 96.0)),
        (row(1.0, 1.0), ("harder", "anchor", 2, 92.0)),
        (row(0.85), ("again", "anchor", 1, 96.0)),
        (row(0.85, 0.84), ("harder", "anchor", 2, 92.0)),
        (row(0.80, 0.87), ("harder", "anchor", 2, 92.0)),
        (row(0.80, 0.80), ("again", "anchor", 1, 96.0)),
        (row(0.80, 0.80, 0.80), ("slower", "anchor", 1, 92.0)),
        (row(0.70), ("again", "anchor", 1, 96.0)),
        (row(0.70, 0.72), ("slower", "anchor", 1, 92.0)),
        (row(0.50), ("slower", "anchor", 1, 92.0)),
        (row(0.70, grade=2, bpm=92.0), ("begin", "anchor", 1, 96.0)),
        (row(0.93, bpm=80.0), ("faster", "anchor", 1, 84.0)),
        (row(0.93, 0.93, bpm=94.5), ("harder", "anchor", 2, 92.0)),
        (row(0.97, bpm=80.0), ("faster", "anchor", 1, 84.0)),
    ],
)
def test_the_takes_together_decide(takes: list[PastTake], expected: tuple[str, str, int, float]) -> None:
    """Two takes open a grade, never one; one very good take is a step of tempo; a leap that failed moves nothing."""
    assert expected == shown(after(*takes))


def on_grade_two(*shares: float) -> list[PastTake]:
    """Grade 1 played well twice, then these shares, each at what was advised."""
    takes = row(0.93, 0.93)
    for number, share in enumerate(shares, 2):
        step = next_step(takes, COURSE, START + timedelta(minutes=number))
        takes.append(a_take(step.family, int(step.grade[1:]), step.tempo_bpm, share, minutes=number, length_s=20.0))
    return takes


def test_what_fails_is_slowed_twice_then_made_simpler() -> None:
    """The tempo first; when that does not help, the grade below at the tempo that was just played."""
    seen = [shown(after(*on_grade_two(*[0.70] * n))) for n in (2, 4, 6)]

    assert [("slower", "anchor", 2, 88.0), ("slower", "anchor", 2, 84.0), ("simpler", "anchor", 1, 84.0)] == seen


def test_what_is_lost_altogether_is_made_simpler_at_once() -> None:
    """Below 55 of 100 the tempo is not the matter."""
    assert ("simpler", "anchor", 1, 92.0) == shown(after(*on_grade_two(0.4)))


def test_what_failed_today_waits_for_tomorrow() -> None:
    """After going back, holding does not lead to the same failure again on that day; on the next day it may."""
    back = [a_take("anchor", 1, 92.0, 0.93, minutes=3)]
    back += [a_take("anchor", 1, 96.0, 0.93, minutes=minutes) for minutes in (4, 5)]
    takes = [*on_grade_two(0.4), *back]
    today, later = after(*takes), after(*takes, a_take("anchor", 1, 96.0, 0.93, minutes=day(1)), minutes=day(1) + 1)

    assert ("tomorrow", True) == (today.action, today.reason.endswith("what is harder waits for tomorrow"))
    assert ("harder", "anchor", 2, 92.0) == shown(later)
    assert "tomorrow" not in later.reason


def test_what_waited_for_tomorrow_comes_without_another_take() -> None:
    """On the next day nobody is told that it was too much today; what went well is asked for first."""
    back = [a_take("anchor", 1, bpm, 0.93, minutes=minutes) for minutes, bpm in ((3, 92.0), (4, 96.0), (5, 96.0))]
    takes = [*on_grade_two(0.4), *back]

    assert "tomorrow" == level_of(COURSE["anchor"], takes, START + timedelta(minutes=6)).action
    level = level_of(COURSE["anchor"], takes, START + timedelta(days=1))
    assert ("retry", True) == (level.action, level.retest_due(START + timedelta(days=1)))
    assert "retest" == after(*takes, minutes=day(1)).action


def twice(seed: int = 1) -> list[PastTake]:
    """The first grade played well in two takes."""
    return [a_take("anchor", 1, 96.0, 0.93, minutes=minutes, seed=seed) for minutes in (0, 1)]


def test_what_went_well_is_asked_for_on_another_day_and_once() -> None:
    """Not in the same evening; with the same seed; a few minutes earlier than yesterday; then the course goes on."""
    takes = twice(seed=3)
    early, due = after(*takes, minutes=5 * 60), after(*takes, minutes=day(1) - 20)

    assert "harder" == early.action
    assert ("retest", "anchor", 1, 96.0) == shown(due)
    assert "anchor a1 --tempo 96 --seed 3" == due.exercise
    kept = a_take("anchor", 1, 96.0, 0.85, minutes=day(1) - 20)
    assert ("harder", "anchor", 2, 92.0) == shown(after(*takes, kept))
    assert "retest" != after(*takes, kept, minutes=day(3)).action


def test_a_list_of_grades_says_how_each_stands() -> None:
    """Passed today, due tomorrow, learned once it was shown; the next one is named."""
    takes = twice()
    kept = a_take("anchor", 1, 96.0, 0.85, minutes=day(1))
    moments = ((takes, 0), (takes, 1), ([*takes, kept], 1))
    levels = [
        (level_of(COURSE["anchor"], rows, START + timedelta(days=days, minutes=5)), days) for rows, days in moments
    ]
    told = [
        [level.standing(rank, START + timedelta(days=days, minutes=5)) for rank in (1, 2, 3)] for level, days in levels
    ]

    assert [["passed", "next", ""], ["due", "next", ""], ["learned", "next", ""]] == told


def test_what_did_not_stay_overnight_was_not_learned() -> None:
    """The next day's failure leads back to it, not on to what is harder."""
    lost = a_take("anchor", 1, 96.0, 0.7, minutes=day(1))

    assert ("forgotten", "anchor", 1, 96.0) == shown(after(*twice(), lost))


def test_a_retest_is_cold_and_a_little_less_is_enough() -> None:
    """80 of 100 would not be enough to go on, but it is enough to have stayed."""
    stayed = a_take("anchor", 1, 96.0, 0.8, minutes=day(1))

    assert ("harder", "anchor", 2, 92.0) == shown(after(*twice(), stayed))


def test_warming_up_on_something_easy_does_not_throw_anybody_back() -> None:
    """Holding what lies below tells nothing new; failing at it does."""
    takes = on_grade_two(0.85)

    assert ("again", "anchor", 2, 92.0) == shown(after(*takes, a_take("anchor", 1, 80.0, 1.0, minutes=5)))
    assert ("slower", "anchor", 1, 76.0) == shown(
        after(*takes, *(a_take("anchor", 1, 80.0, 0.6, minutes=m) for m in (5, 6)))
    )


def test_a_leap_ahead_that_holds_is_believed() -> None:
    """Who plays grade 3 well need not show grades 1 and 2."""
    assert ("again", "anchor", 3, 104.0) == shown(after(a_take("anchor", 3, 104.0, 0.88)))


def test_short_and_empty_takes_move_nothing() -> None:
    """Fewer than 16 strokes, or no figure at all."""
    assert "begin" == after(a_take("anchor", 1, 96.0, 0.2, n=12, planned=12)).action
    assert "begin" == after(a_take("anchor", 1, 96.0, None)).action


def test_families_take_turns_after_three_minutes() -> None:
    """Another one that is open comes after three minutes of one; before, the same."""
    takes = [
        a_take("split", 1, 72.0, 0.85, minutes=0),
        *[a_take("anchor", 3, 104.0, share, minutes=n) for n, share in enumerate((0.8, 0.84, 0.8), 1)],
    ]

    assert "anchor" == after(*takes).family
    assert "split" == after(*takes, a_take("anchor", 3, 104.0, 0.8, minutes=6)).family


def test_a_family_opens_when_it_is_as_hard_as_what_is_due_elsewhere() -> None:
    """Splits do not come beside the first anchor, however long that was played."""
    takes = [a_take("anchor", 1, 96.0, 0.84 if n % 2 else 0.78, minutes=n) for n in range(8)]

    assert "anchor" == after(*takes).family


@pytest.mark.parametrize(
    ("findings", "family"),
    [
        ((("off-beats", -15.0),), "split"),
        ((("swing", -9.0),), "split"),
        ((("into-change", -30.0),), "turn"),
        ((("fills", -12.0), ("drift", -1.0)), "turn"),
        ((("backbeat", -8.0),), "anchor"),
        ((("scatter-fills", -8.0),), ""),
        ((("chord-spread", 40.0),), ""),
        ((("a-code-of-tomorrow", 4.0),), ""),
        ((), ""),
    ],
)
def test_findings_point_to_the_family_that_helps(findings: tuple[tuple[str, float], ...], family: str) -> None:
    """One song or two exercises are enough; less scatter than elsewhere is no weakness."""
    song = a_take("", 0, 96.0, 0.7, findings=findings)
    exercises = [a_take("turn", 1, 76.0, 0.8, findings=findings) for _ in range(2)]

    assert family == weak_family([song])
    assert family == weak_family(exercises)
    assert "" == weak_family(exercises[:1])


def test_a_song_that_runs_into_its_changes_opens_the_turns() -> None:
    """The reason says that the takes point there."""
    step = after(a_take("", 0, 96.0, 0.7, findings=(("into-change", -30.0),)))

    assert ("begin", "turn", 1, 76.0) == shown(step)
    assert step.advice().text.endswith("and your last takes point to the turns.")


def test_rest_is_due_after_half_an_hour_and_over_after_five_minutes() -> None:
    """Playing time counts, pauses shorter than five minutes do not end it; the words ask for rest, not for more."""
    takes = [a_take("anchor", 1, 96.0, 0.8, minutes=4 * n, length_s=180.0) for n in range(10)]

    assert "rest" != after(*takes[:9], minutes=36).action
    rest = after(*takes, minutes=40)
    assert ("rest", None) == (rest.action, rest.exercise)
    assert "You have played for 30 minutes: rest for five first." == rest.advice().text
    assert "rest" != after(*takes, minutes=39 + 5).action


def test_takes_from_the_future_ask_for_no_rest() -> None:
    """A clock that was set back does not make an hour of playing."""
    takes = [a_take("anchor", 1, 96.0, 0.8, minutes=500 + 4 * n, length_s=180.0) for n in range(10)]

    assert "rest" != after(*takes, minutes=0).action


@given(bpm=st.integers(40, 200))
def test_tempo_steps_are_four_to_five_percent(bpm: int) -> None:
    """As near as whole numbers come."""
    assert abs(faster(bpm, 999) - bpm * 1.045) <= 0.5
    assert abs(slower(bpm) - bpm * 0.955) <= 0.5
    assert faster(bpm, bpm + 1) == bpm + 1


takes_of_anchors = st.lists(
    st.tuples(st.integers(1, 3), st.integers(60, 130), st.floats(0, 1), st.integers(1, 3000)), max_size=25
)


@given(played=takes_of_anchors)
def test_one_thing_changes_at_a_time(played: Sequence[tuple[int, int, float, int]]) -> None:
    """After whatever takes: never faster and a higher grade, never slower and a lower one, always a grade that exists."""
    minutes, takes = 0, []
    for grade, bpm, share, pause in played:
        minutes += pause
        now = START + timedelta(minutes=minutes)
        before = level_of(COURSE["anchor"], takes, now).target
        takes.append(a_take("anchor", grade, bpm, share, minutes=minutes))
        level = level_of(COURSE["anchor"], takes, now)
        if level.target == before:
            continue
        base = GradeTempo(grade, float(bpm))
        assert 1 <= level.target.rank <= 3
        assert not (level.target.rank > base.rank and level.target.tempo_bpm > base.tempo_bpm)
        assert not (level.target.rank < base.rank and level.target.tempo_bpm < base.tempo_bpm)
        assert abs(level.target.rank - base.rank) <= 1
        assert level.target.tempo_bpm <= max(base.tempo_bpm, 1.06 * base.tempo_bpm)


def test_a_grade_between_two_others_is_asked_for_between_them() -> None:
    """The family's order counts, not the name or an old number: every other grade keeps its takes."""
    course = {
        "anchor": [
            Step("anchor", f"a{n}", f"Anchor {n}", 96.0, 240.0, hard) for n, hard in ((1, 1.0), (4, 1.2), (2, 1.4))
        ]
    }

    def next_after(*takes: PastTake) -> tuple[str, str, int, float]:
        return shown(next_step(takes, course, START + timedelta(minutes=9)))

    assert ("harder", "anchor", 4, 96.0) == next_after(*row(0.95, 0.95))
    assert ("harder", "anchor", 2, 96.0) == next_after(*row(0.95, 0.95, grade=4))
    climbed = [(1, 0.95), (1, 0.95), (4, 0.95), (4, 0.95), (2, 0.2)]
    takes = [a_take("anchor", n, 96.0, share, minutes=at) for at, (n, share) in enumerate(climbed)]
    assert ("simpler", "anchor", 4, 96.0) == next_after(*takes)
