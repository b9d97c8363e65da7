"""Takes against each other: paired by place, tighter only when it shows, and the best take never dropped lightly."""

from dataclasses import replace

import numpy as np
import pytest

from heeltap.analysis.compare.takes import NO_DIFFERENCE, compare, jitter_ms, pair_strokes, versus
from heeltap.model.offsets import Offsets
from tests.makers.players import stroke_noise
from tests.makers.tables import NOISES, offsets_table

KINDS = ("ar0", "ar35", "ar70", "ar35-heavy", "wander", "long80", "long90-white", "1/f")


def drawn(kind: str, n: int, rng: np.random.Generator, sd_ms: float = 12.0) -> np.ndarray:
    """Offsets of one kind; 1/f is scaled to its expected spread, so that equal players have equal jitter."""
    return sd_ms * (stroke_noise(rng, n, "long") if kind == "1/f" else NOISES[kind](n, rng))


def take(offset_ms: np.ndarray, seed: int = 1) -> Offsets:
    """A take of eighths in 4/4 over eight sections."""
    return offsets_table(offset_ms, np.random.default_rng(seed))


def test_strokes_pair_by_their_place() -> None:
    """Missing strokes of either take shift nothing; two strokes at one place pair in order."""
    whole = take(np.zeros(32))
    first, second = whole.pick(np.delete(np.arange(32), [3, 10])), whole.pick(np.delete(np.arange(32), [5]))
    rows, others = pair_strokes(first, second)

    assert rows.size == 29
    assert first.bar[rows].tolist() == second.bar[others].tolist()
    assert first.beat[rows].tolist() == second.beat[others].tolist()

    double = whole.pick(np.array([0, 0, 1]))
    assert [column.tolist() for column in pair_strokes(double, double)] == [[0, 1, 2], [0, 1, 2]]


def test_jitter_forgets_where_the_take_sits_and_wanders() -> None:
    """A constant or a straight drift leaves no jitter in the middle of the take."""
    assert jitter_ms(np.full(40, -25.0)) == pytest.approx(np.zeros(40))
    assert jitter_ms(0.5 * np.arange(40.0))[4:-4] == pytest.approx(np.zeros(32))


def test_jitter_is_the_distance_from_nine_strokes() -> None:
    """Each value is the offset minus the mean of itself and four neighbours to each side."""
    offset = np.random.default_rng(2).normal(0, 10, 30)

    assert jitter_ms(offset)[12] == pytest.approx(offset[12] - offset[8:17].mean())


def rate(kind: str, n: int, second_sd: float, count: int, seed: int) -> tuple[float, float]:
    """Share of pairs in which the second take was called tighter, and in which either was."""
    rng = np.random.default_rng(seed)
    called = [versus(take(drawn(kind, n, rng)), take(drawn(kind, n, rng, second_sd))).tighter for _ in range(count)]
    return float(np.mean([c == 1 for c in called])), float(np.mean([c is not None for c in called]))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_equal_takes_are_rarely_called_tighter(kind: str) -> None:
    """At most 5 % of 400 pairs by one player, to two standard errors, long memory included."""
    _, false = rate(kind, 300, 12.0, 400, 3)

    assert false <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 400)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ar0", "ar35", "wander", "long80", "long90-white", "1/f"])
def test_a_fifth_less_jitter_is_found(kind: str) -> None:
    """With 300 paired strokes a 20 % smaller jitter is found in 0.8 of takes (to two standard errors of 200)."""
    found, _ = rate(kind, 300, 9.6, 200, 4)

    assert found >= 0.8 - 2 * np.sqrt(0.8 * 0.2 / 200)


def test_a_clearly_tighter_take_is_called_so() -> None:
    """Half the jitter over 128 strokes: the second is tighter, the ratio is about a half, and swapped it is the first."""
    rng = np.random.default_rng(5)
    loose, tight = take(drawn("ar35", 128, rng)), take(drawn("ar35", 128, rng, 6.0))
    there, back = versus(loose, tight), versus(tight, loose)

    assert (there.tighter, back.tighter) == (1, 0)
    assert there.jitter_ratio.value == pytest.approx(0.5, abs=0.1)
    assert there.jitter_ratio.value * back.jitter_ratio.value == pytest.approx(1.0)  # type: ignore[operator]
    assert there.credit_gain.value == pytest.approx(-back.credit_gain.value)  # type: ignore[operator]


def test_nearer_to_the_lean_is_told_with_its_interval() -> None:
    """From 30 ms late to 5 ms late, paired: about 25 ms nearer, and the interval excludes no change."""
    rng = np.random.default_rng(6)
    found = versus(take(30 + drawn("ar0", 256, rng)), take(5 + drawn("ar0", 256, rng)))

    assert found.distance_change_ms.value == pytest.approx(-25, abs=3)
    assert found.bias_change_ms.value == pytest.approx(-25, abs=3)
    assert found.distance_change_ms.ci95 is not None
    assert found.distance_change_ms.ci95[1] < 0


def test_crossing_the_lean_is_not_nearing_it() -> None:
    """From 10 ms early to 10 ms late the bias changes by 20 ms and the distance by nothing."""
    rng = np.random.default_rng(7)
    found = versus(take(-10 + drawn("ar0", 256, rng)), take(10 + drawn("ar0", 256, rng)))

    assert found.bias_change_ms.value == pytest.approx(20, abs=3)
    assert found.distance_change_ms.ci95 is not None
    assert found.distance_change_ms.ci95[0] < 0 < found.distance_change_ms.ci95[1]


def test_a_shared_pattern_does_not_blur_the_pairing() -> None:
    """A wide pattern that both takes have widens the bias of each, not the difference."""
    rng = np.random.default_rng(8)
    pattern = rng.normal(0, 30, 200)
    found = versus(take(pattern + drawn("ar0", 200, rng, 4.0)), take(pattern + 4 + drawn("ar0", 200, rng, 4.0)))

    assert found.bias_change_ms.ci95 is not None
    assert found.bias_change_ms.value == pytest.approx(4, abs=1.2)
    assert 0 < found.bias_change_ms.ci95[0] < found.bias_change_ms.ci95[1] < 8


def test_missed_strokes_count_against_a_take_of_the_same_plan() -> None:
    """Playing half the strokes earns half the credit of one plan, and loses nothing where the plans differ."""
    rng = np.random.default_rng(9)
    full = take(drawn("ar0", 256, rng, 5.0))
    half = full.pick(np.sort(rng.permutation(256)[:128]))

    assert versus(full, half).better == 0
    assert versus(full, half, same_plan=False).credit_gain.value == pytest.approx(0.0)
    assert versus(full, half).tighter is None


def test_the_better_section_is_named() -> None:
    """A first take that falls apart in section three, a second that holds it: that section goes to take 2, no other."""
    rng = np.random.default_rng(10)
    base = drawn("ar0", 512, rng, 8.0)
    broken = base.copy()
    third = take(base).section == 2
    broken[third] += drawn("ar0", int(third.sum()), rng, 60.0)
    found = compare([take(broken), take(drawn("ar0", 512, rng, 8.0))])

    assert [s.better for s in found.sections] == [None, None, 1, None, None, None, None, None]
    assert found.sections[2].text == "take 2"
    assert found.sections[2].open == (1,)
    assert {s.text for i, s in enumerate(found.sections) if i != 2} == {NO_DIFFERENCE}


def test_equal_takes_leave_every_section_open() -> None:
    """The same take twice: nothing is better, everything stays open, all ratios are 1."""
    one = take(drawn("ar35", 256, np.random.default_rng(11)))
    found = compare([one, one])

    assert {s.better for s in found.sections} == {None}
    assert {len(s.open) for s in found.sections} == {2}
    assert found.last_against_first.jitter_ratio.value == pytest.approx(1.0)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ar0", "ar70-heavy", "wander", "long90", "1/f"])
def test_the_truly_best_take_stays_open(kind: str) -> None:
    """Four players, the best by 5 to 15 %: over 60 songs of eight sections it is dropped in at most 2 % of sections."""
    rng = np.random.default_rng(12)
    dropped = []
    for _ in range(60):
        found = compare([take(drawn(kind, 512, rng, 12.0 * wider)) for wider in (1.05, 1.0, 1.1, 1.15)])
        dropped += [1 not in s.open for s in found.sections]

    assert np.mean(dropped) <= 0.02


def test_the_trend_over_takes() -> None:
    """Ten per cent less jitter each take is found, with an interval from five takes on."""
    rng = np.random.default_rng(13)
    takes = [take(drawn("ar0", 256, rng, 20.0 * 0.9**k)) for k in range(7)]
    found = compare(takes)

    assert found.jitter_trend.per_take == pytest.approx(-0.10, abs=0.03)
    assert found.jitter_trend.ci95 is not None
    assert found.jitter_trend.ci95[1] < 0
    assert compare(takes[:4]).jitter_trend.ci95 is None
    assert compare(takes[:2]).jitter_trend.per_take is None


def test_too_little_to_say() -> None:
    """Eight strokes: numbers without intervals, and nobody wins; no shared place: not even numbers."""
    rng = np.random.default_rng(14)
    few, other = take(drawn("ar0", 8, rng)), take(drawn("ar0", 8, rng, 60.0))
    found = versus(few, other)
    apart = versus(few, replace(other, bar=other.bar + 100))

    assert (found.n, found.tighter, found.better, found.jitter_ratio.ci95) == (8, None, None, None)
    assert (apart.n, apart.jitter_ratio.value, apart.tighter) == (0, None, None)


def test_an_empty_take_is_worse_not_an_error() -> None:
    """A take without a stroke has no credit at all."""
    full = take(drawn("ar0", 128, np.random.default_rng(15)))
    empty = full.pick(np.zeros(0, np.int64))
    found = compare([full, empty])

    assert found.takes[1].credit == 0.0
    assert found.whole.better == 0


def test_one_take_cannot_be_compared() -> None:
    """The error says what was found and what was expected."""
    with pytest.raises(ValueError, match="found 1 takes; expected two or more"):
        compare([take(np.zeros(16))])
