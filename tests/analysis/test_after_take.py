"""What to do after one take: the bars, the exercise, a simpler part, or that it holds."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.advice.after_take import advice_of, course_aside
from heeltap.analysis.advice.remedies import REMEDIES, remedy_of
from heeltap.analysis.analyse import Options, analyse
from heeltap.analysis.findings.catalogue import FINDING_KINDS
from heeltap.analysis.findings.from_columns import as_offsets
from heeltap.app.drill.drill import drill_of
from heeltap.app.practice.make_exercise import make_exercise
from heeltap.model.notes import make_notes
from heeltap.model.played import Played
from heeltap.model.result import Advice, Counts, Finding, Overall, Replay, Result
from heeltap.wording import bars
from tests.makers.drills import counted_plan


def advice(
    findings: Sequence[Finding] = (),
    again: Sequence[Replay] = (),
    *,
    n: int = 200,
    in_pocket: float = 0.7,
    missed: int = 0,
    bpm: float = 96.0,
) -> tuple[Advice, ...]:
    """The advice on a take of eighths at a tempo."""
    rows = np.arange(max(n, 1))
    table = as_offsets(
        {
            "offset_ms": np.zeros(rows.size),
            "bar": 1 + rows // 8,
            "beat": 1 + rows % 8 / 2,
            "beat_ms": rows * 0 + 60e3 / bpm,
        }
    )
    overall = Overall(n, 0.0, None, 9.0, None, in_pocket, 80)
    counts = Counts(max(n, 1), n - missed, missed, 0, 0, 0)
    return advice_of(findings, again, overall, counts, table)


def a_result() -> Result:
    """The result of a short take."""
    plan = counted_plan(["1 2 3 4"] * 4)
    notes = make_notes(plan.at_us, [60] * 16, [80] * 16, duration_us=[50_000] * 16)
    return analyse(Played(notes, plan.tempo, plan.metre, plan, file="take", part="pads"))


def finding(code: str, effect_ms: float = -20.0) -> Finding:
    """One finding."""
    return Finding(code, "", effect_ms, None, 0.001)


def test_the_worst_bars_come_slower_and_unchanged() -> None:
    """One entry, the worst; the bar before it helps, where there is one."""
    (said,) = advice(again=[Replay(20, 22, ""), Replay(28, 29, "")])
    (first,) = advice(again=[Replay(1, 1, "")])

    assert ("replay", None) == (said.action, said.exercise)
    assert said.text.startswith("Play bars 20-22 again with the bar before them, 5 % slower, and change nothing else.")
    assert first.text.startswith("Play bar 1 again, 5 % slower")


@pytest.mark.parametrize(
    ("code", "exercise"),
    [
        ("into-change", "turn 1 --tempo 96"),
        ("fills", "turn 3 --tempo 96"),
        ("off-beats", "split 2 --tempo 96"),
        ("swing", "split 3 --tempo 96"),
        ("backbeat", "anchor 3 --tempo 96"),
        ("drift", "anchor 6 --tempo 96"),
        ("after-rest", "anchor 8 --tempo 96"),
    ],
)
def test_each_weakness_has_its_exercise_at_the_tempo_of_the_song(code: str, exercise: str) -> None:
    """Simpler, not slower; named in the text as it is typed."""
    (said,) = advice([finding(code)])

    assert ("drill", exercise) == (said.action, said.exercise)
    assert f"heeltap drill {exercise} (" in said.text


def test_only_the_strongest_weakness_gets_an_exercise() -> None:
    """One thing at a time; a finding without an exercise is passed over."""
    said = advice([finding("leaps"), finding("fills"), finding("off-beats")])

    assert ["turn 3 --tempo 96"] == [one.exercise for one in said]


def test_what_is_no_weakness_is_not_mended() -> None:
    """Less scatter than elsewhere, getting steadier, a programmed take."""
    assert () == advice([finding("scatter-fills", -5.0)])
    assert () == advice([finding("scatter-grows", -5.0)])
    assert () == advice([finding("too-even", 0.4)])


def test_more_spread_is_to_be_mended_and_less_is_not() -> None:
    """However little more it is, once it is told."""
    assert remedy_of("scatter-fills", 0.5) is not None
    assert remedy_of("scatter-fills", -0.5) is None


def test_getting_looser_means_rest() -> None:
    """Nothing is said that asks to play on."""
    (said,) = advice([finding("scatter-grows", 6.0)])

    assert ("rest", "You got looser towards the end: rest before the next take.") == (said.action, said.text)


def test_a_part_that_is_too_much_is_made_simpler() -> None:
    """From a quarter of the notes lost."""
    (said,) = advice(n=200, missed=60)

    assert "simplify" == said.action
    assert "30 of 100 planned notes" in said.text
    assert "simplify" not in [one.action for one in advice(n=200, missed=40)]


def test_missed_notes_are_played_slower_first() -> None:
    """More than a slip, less than too much: the counts are the report's own."""
    (said,) = advice(n=200, missed=40)

    assert ("slower", "You missed 40 of 200 planned notes. Play it 5 % slower until you have them all.") == (
        said.action,
        said.text,
    )
    assert () == advice(n=200, missed=20)


def test_the_worst_bars_come_with_the_command_that_loops_them() -> None:
    """The song's own tempo, 5 % slower, a bar to run in; where the entry names a tempo, ours takes its place."""
    (said,) = advice(again=[Replay(20, 22, "", command="heeltap drill anchor 3 --tempo 96 --bars 20-22")])

    assert said.text.endswith("\nheeltap drill anchor 3 --bars 20-22 --tempo 91 --run-in --loop")


def test_a_take_that_holds_is_left_alone() -> None:
    """Once more tomorrow; where it spreads everywhere, strong beats; both with the report's own share in the pocket."""
    nothing = [finding("nothing", 0.0)]
    holds, loose = advice(nothing, in_pocket=0.9)[0], advice(nothing, in_pocket=0.6)[0]

    assert ("retest", True) == (holds.action, "90 % of your strokes are in the pocket" in holds.text)
    assert ("anchor 3 --tempo 96", True) == (loose.exercise, "60 % of your strokes are in the pocket" in loose.text)


@pytest.mark.parametrize("delay_ms", [0.0, None])
@pytest.mark.parametrize("seed", range(12))
def test_advice_never_contradicts_the_report(seed: int, delay_ms: float | None) -> None:
    """Players of every kind: what is said to sit well has no bar to play again and its share in the pocket."""
    rng = np.random.default_rng(500 + seed)
    plan = counted_plan(["1 2 3 4"] * 16)
    offset = rng.normal(rng.uniform(-30, 30), rng.uniform(4, 30), len(plan)) - 40.0 * (rng.random(len(plan)) < 0.05)
    at = np.sort(plan.at_us + np.round(1000 * offset).astype(np.int64))
    notes = make_notes(at, [60] * at.size, [80] * at.size, duration_us=[50_000] * at.size)
    result = analyse(Played(notes, plan.tempo, plan.metre, plan), Options(delay_ms=delay_ms))

    share = result.overall.in_pocket or 0.0
    for advised in result.advice:
        if advised.action == "retest":
            assert not result.replay
            assert share >= 0.85
        if advised.action == "replay":
            assert bars(range(result.replay[0].first_bar, result.replay[0].last_bar + 1)) in advised.text
        if "in the pocket" in advised.text:
            assert f"{100 * share:.0f} % of your strokes are in the pocket" in advised.text


def test_nothing_is_said_of_a_handful_of_strokes() -> None:
    """Findings are silent there, too."""
    assert () == advice([finding("fills")], [Replay(1, 2, "")], n=20)
    assert () == advice(n=0)


def test_after_an_exercise_only_bars_and_rest_are_said() -> None:
    """What comes next is for the history to say; everything else of the result stays."""
    rows = tuple(Advice(action, action) for action in ("simplify", "replay", "drill", "rest", "retest"))
    result = replace(a_result(), advice=rows)

    assert ["replay", "rest"] == [one.action for one in course_aside(result).advice]
    assert replace(result, advice=()) == replace(course_aside(result), advice=())


def test_every_remedy_answers_a_kind_of_finding() -> None:
    """No row is for a key that no finding has, and every place question but leaps has an exercise."""
    keys = {kind.advice for kind in FINDING_KINDS}
    without = {kind.code for kind in FINDING_KINDS if remedy_of(kind.code, 10.0) is None}

    assert set() == set(REMEDIES) - keys
    assert {"leaps", "scatter-leaps", "scatter-grows", "too-even", "nothing"} == without


@pytest.mark.parametrize("key", list(REMEDIES))
@pytest.mark.parametrize("bpm", [30.0, 63.4, 96.0, 140.0, 299.0])
def test_every_exercise_that_is_advised_can_be_drilled(key: str, bpm: float) -> None:
    """As typed, at slow and fast songs' tempi: the song's beat, halved as often as the grade asks for."""
    code = next(kind.code for kind in FINDING_KINDS if kind.advice == key and kind.measure != "spread")
    (said,) = advice([finding(code, 20.0)], bpm=bpm)
    what, _, tempo = (said.exercise or "").partition(" --tempo ")

    drill = drill_of(what, tempo_bpm=float(tempo))

    assert float(tempo) == pytest.approx(60e6 / int(drill.plan.tempo.us_per_quarter[0]), abs=0.01)
    assert any(float(tempo) == round(max(bpm, 40.0) / parts) for parts in (1, 2, 4))
    assert REMEDIES[key].fastest_bpm / 2 < float(tempo) or float(tempo) == round(max(bpm, 40.0))


@pytest.mark.parametrize("key", list(REMEDIES))
def test_the_limits_of_the_table_are_those_of_the_grades(key: str) -> None:
    """Every remedy can be made at its limit, with each of a few seeds."""
    remedy = REMEDIES[key]

    for seed in range(1, 9):
        assert (
            remedy.fastest_bpm
            == make_exercise(remedy.family, remedy.grade, seed=seed, tempo_bpm=remedy.fastest_bpm).tempo_bpm
        )
