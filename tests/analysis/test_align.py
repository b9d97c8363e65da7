"""Matching a take to a click: the contract, the odd inputs, and what must never happen."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.analysis.align import Match, align, align_free
from tests.makers.amounts import amount
from tests.makers.players import FIGURES, Leap, Player, make_part, ordinary_player, play_part

LINE_US = np.array([0, 750_000, 1_000_000, 1_500_000, 2_000_000, 2_750_000, 3_000_000, 3_500_000])
LINE_KEYS = np.array([60, 62, 64, 65, 67, 69, 71, 72])


def _match(part, take, **more) -> Match:
    return align(part.at_us, part.pitch, take.notes.onset_us, take.notes.pitch, **more)


def test_a_take_without_mistakes_is_matched_note_for_note(rng: np.random.Generator) -> None:
    """Played notes shifted by a constant answer their own planned notes, and the shift is the delay."""
    played = LINE_US + 83_000

    found = align(LINE_US, LINE_KEYS, played, LINE_KEYS)

    assert list(range(8)) == found.match.tolist()
    assert [False] * 8 == found.wrong_pitch.tolist()
    assert [] == found.extra.tolist()
    assert pytest.approx(83.0) == found.delay_ms
    assert found.delay_known
    assert found.confidence.min() > 0.99


def test_a_miss_a_stray_and_a_wrong_key_are_told_apart() -> None:
    """A note left out is -1, one that nothing planned is extra, one on the next key still answers its place."""
    played = np.delete(LINE_US, 3)
    keys = np.delete(LINE_KEYS, 3)
    keys[4] = 68
    played, keys = np.append(played, 2_400_000), np.append(keys, 40)

    found = align(LINE_US, LINE_KEYS, played, keys, delay_ms=0.0)

    assert [0, 1, 2, -1, 3, 4, 5, 6] == found.match.tolist()
    assert [False, False, False, False, False, True, False, False] == found.wrong_pitch.tolist()
    assert [7] == found.extra.tolist()


def test_the_second_of_a_bounce_is_extra() -> None:
    """Of two strikes of a key 30 ms apart the first is the planned one, though the second lies nearer to the plan."""
    played, keys = np.append(LINE_US - 30_000, LINE_US[4]), np.append(LINE_KEYS, LINE_KEYS[4])

    found = align(LINE_US, LINE_KEYS, played, keys)

    assert list(range(8)) == found.match.tolist()
    assert [8] == found.extra.tolist()


def test_any_key_answers_a_plan_that_does_not_care() -> None:
    """Pitch -1 takes whatever was struck, and nothing is a wrong key."""
    keys = np.array([36, 99, 60, 60, 1, 127, 64, 0])

    found = align(LINE_US, np.full(8, -1), LINE_US + 20_000, keys, delay_ms=0.0)

    assert list(range(8)) == found.match.tolist()
    assert not found.wrong_pitch.any()


@pytest.mark.parametrize("face", [align, align_free])
@pytest.mark.parametrize("seconds", [LINE_US / 1e6, (LINE_US / 1e6).tolist(), LINE_US.astype(np.float64)])
def test_floating_times_are_refused_with_what_to_pass(face: Callable[..., Match], seconds: npt.ArrayLike) -> None:
    """Seconds, or microseconds as floats: no guess at the unit, but an error that names the parameter and the remedy."""
    with pytest.raises(ValueError, match=r"take_us: floating numbers; expected whole microseconds .*for seconds pass"):
        face(LINE_US, LINE_KEYS, seconds, LINE_KEYS)


def test_a_plan_in_seconds_is_refused() -> None:
    """The planned times are checked as the played ones are."""
    with pytest.raises(ValueError, match="plan_us: floating numbers"):
        align(LINE_US / 1e6, LINE_KEYS, LINE_US, LINE_KEYS)


@pytest.mark.parametrize("kind", [np.int64, np.int32, np.uint32])
def test_all_kinds_of_whole_numbers_give_the_same_match(kind: type[np.integer]) -> None:
    """Python integers and numpy integers of any width are microseconds."""
    one = align(LINE_US.tolist(), LINE_KEYS.tolist(), (LINE_US + 40_000).tolist(), LINE_KEYS.tolist())
    two = align(LINE_US.astype(kind), LINE_KEYS, (LINE_US + 40_000).astype(kind), LINE_KEYS)

    assert one.match.tolist() == two.match.tolist()
    assert one.delay_ms == two.delay_ms


def test_order_of_the_input_does_not_matter(rng: np.random.Generator) -> None:
    """Shuffled plans and takes give the same pairs, in the caller's own numbering."""
    part = make_part(rng, "two_hands", bars=8)
    take = play_part(rng, part, ordinary_player(rng))
    straight = _match(part, take)
    plan_order, take_order = rng.permutation(len(part)), rng.permutation(len(take.notes))

    mixed = align(
        part.at_us[plan_order], part.pitch[plan_order], take.notes.onset_us[take_order], take.notes.pitch[take_order]
    )

    back = np.where(mixed.match >= 0, take_order[mixed.match], -1)
    assert straight.match[plan_order].tolist() == back.tolist()
    assert pytest.approx(straight.confidence[plan_order]) == mixed.confidence
    assert straight.extra.tolist() == sorted(take_order[mixed.extra].tolist())


@pytest.mark.parametrize("planned", [0, 3])
@pytest.mark.parametrize("played", [0, 3])
@pytest.mark.parametrize("free", [False, True])
def test_nothing_planned_or_nothing_played_is_an_answer(planned: int, played: int, free: bool) -> None:
    """Empty sides give misses and strays, not errors."""
    face = align_free if free else align
    found = face(LINE_US[:planned], LINE_KEYS[:planned], LINE_US[:played], LINE_KEYS[:played])

    if planned == 0 or played == 0:
        assert [-1] * planned == found.match.tolist()
        assert list(range(played)) == found.extra.tolist()
        assert not found.delay_known
    else:
        assert [0, 1, 2] == found.match.tolist()


@pytest.mark.parametrize("free", [False, True])
def test_one_note_is_matched(free: bool) -> None:
    """A plan of one note and a take of one note are a pair."""
    face = align_free if free else align

    assert [0] == face([1_000_000], [60], [1_050_000], [60]).match.tolist()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([0, 1], [60], [0], [60]), "plan: 1 pitches for 2 times"),
        (([0], [60], [0, 1], [60]), "take: 1 pitches for 2 times"),
        (([0, 1.5], [60, 60], [0], [60]), "plan_us: floating numbers"),
        (([0], [60], [np.inf], [60]), "take_us: floating numbers"),
        (([0], [np.nan], [0], [60]), "plan: pitches hold something that is no key"),
        (([0], [128], [0], [60]), "plan: pitches run from 128 to 128"),
        (([0], [60], [0], [-1]), "take: pitches run from -1 to -1"),
        (([[0]], [[60]], [0], [60]), "plan_us: shape"),
        ((["0"], [60], [0], [60]), "plan_us: type"),
        (([0], [60], [0], [60], [1, 2]), "take: 2 velocities for 1 times"),
        (([0], [60], [0], [60], None, float("nan")), "delay_ms: nan"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_clear_line(arguments, words: str) -> None:
    """Unequal lengths, numbers that are none and impossible keys raise ValueError and say where."""
    with pytest.raises(ValueError, match=words):
        align(*arguments)


def test_strokes_named_unequally_long_are_refused() -> None:
    """plan_stroke must have an entry for every planned note."""
    with pytest.raises(ValueError, match="plan_stroke: 1 entries for 2"):
        align([0, 1], [60, 61], [0], [60], plan_stroke=[0])


def test_a_calibrated_delay_is_used_as_given() -> None:
    """A known delay comes back unchanged and without error, whatever the player's own offset is."""
    found = align(LINE_US, LINE_KEYS, LINE_US + 150_000, LINE_KEYS, delay_ms=120.0)

    assert (120.0, 0.0, True) == (found.delay_ms, found.delay_sd_ms, found.delay_known)
    assert list(range(8)) == found.match.tolist()


def test_equal_strokes_on_one_key_leave_the_delay_unknown(rng: np.random.Generator) -> None:
    """Sixteenths on one key 125 ms apart fit as well shifted by one: said, and no match is called certain."""
    plan = np.arange(64) * 125_000
    played = plan + 110_000 + rng.normal(0, 8_000, 64).astype(np.int64)

    found = align(plan, np.full(64, 60), played, np.full(64, 60))

    assert not found.delay_known
    assert found.confidence.max() < 0.99


def test_an_uneven_start_makes_the_delay_known(rng: np.random.Generator) -> None:
    """The same sixteenths after a bar of an uneven figure cannot be mistaken."""
    plan = np.concatenate([np.array([0, 3, 4, 6, 8, 11, 12]), np.arange(16, 80)]) * 125_000
    played = plan + 110_000 + rng.normal(0, 8_000, plan.size).astype(np.int64)

    found = align(plan, np.full(plan.size, 60), played, np.full(plan.size, 60))

    assert found.delay_known
    assert list(range(plan.size)) == found.match.tolist()
    assert pytest.approx(110.0, abs=4 * max(found.delay_sd_ms, 1.0)) == found.delay_ms


def test_identical_planned_notes_are_answered_in_the_order_of_playing() -> None:
    """Two planned notes of one time and key take the two played ones in turn."""
    plan, keys = np.array([0, 0, 500_000, 750_000]), np.array([60, 60, 62, 64])
    played = np.array([-5_000, 20_000, 500_000, 750_000])

    assert [0, 1, 2, 3] == align(plan, keys, played, np.array([60, 60, 62, 64]), delay_ms=0.0).match.tolist()


def test_results_cannot_be_written_to() -> None:
    """The columns of a match are read-only."""
    found = align(LINE_US, LINE_KEYS, LINE_US, LINE_KEYS)

    with pytest.raises(ValueError, match="read-only"):
        found.match[0] = 5


@pytest.mark.parametrize("figure", FIGURES)
def test_no_take_slips_by_a_stroke(figure: str) -> None:
    """Thirty takes of each figure with an unknown delay: each is right by itself, not only on average."""
    rng = np.random.default_rng(41)
    for _ in range(30):
        part = make_part(rng, figure, tempo_bpm=float(rng.uniform(50, 200)), bars=8)
        take = play_part(rng, part, ordinary_player(rng))
        found = _match(part, take)
        right = np.mean(found.match == take.match)

        assert right > 0.93, (figure, take.delay_ms, found.delay_ms)


@pytest.mark.parametrize("kind", ["bar", "late", "early", "turned", "rushed"])
def test_a_lost_player_is_found_again(kind: str) -> None:
    """After a dropped bar, a beat late or early, or a beat turned round, notes answer what was meant."""
    rng = np.random.default_rng(7)
    part = make_part(rng, "two_hands", tempo_bpm=120.0, bars=16)
    for bars in (0,) if kind == "bar" else (0, 4):
        player = Player(spread_ms=10.0, delay_ms=60.0, missing=0.03, extra=0.03, leaps=(Leap(kind, 11, bars),))
        take = play_part(rng, part, player)
        found = _match(part, take)

        assert np.mean(found.match == take.match) > 0.97
        assert abs(found.delay_ms - 60.0) < 10.0


def test_offsets_of_right_matches_are_exact(rng: np.random.Generator) -> None:
    """Played minus planned minus delay of a right match is what the player did, to the microsecond."""
    part = make_part(rng, "chords", bars=8)
    take = play_part(rng, part, ordinary_player(rng))
    found = _match(part, take)
    right = (found.match == take.match) & (found.match >= 0)
    offset = take.notes.onset_us[found.match] - part.at_us - round(1000 * take.delay_ms)

    assert right.sum() > 0.95 * len(part)
    assert np.array_equal(take.offset_us[right], offset[right])


@settings(max_examples=amount(40, fast=15))
@given(st.integers(0, 2**32 - 1), st.integers(0, 40), st.integers(0, 40), st.booleans())
def test_any_input_gives_a_one_to_one_match(seed: int, planned: int, played: int, free: bool) -> None:
    """Random notes on both sides: no played note is used twice, matched and extra make up the take, doubts are 0-1."""
    rng = np.random.default_rng(seed)
    face = align_free if free else align
    plan, keys = rng.integers(0, 5_000_000, planned), rng.integers(-1, 128, planned)
    take, struck = rng.integers(0, 5_000_000, played), rng.integers(0, 128, played)

    found = face(plan, keys, take, struck)

    used = found.match[found.match >= 0]
    assert sorted([*used.tolist(), *found.extra.tolist()]) == list(range(played))
    assert np.all((found.confidence >= 0) & (found.confidence <= 1))
    assert not np.any(found.wrong_pitch & (found.match < 0))


def test_scatter_may_grow_with_the_gap() -> None:
    """Whole notes at 60 bpm by a player whose strokes scatter by 250 ms: all of them are matched, and none is called missed."""
    rng = np.random.default_rng(9)
    plan = np.arange(24) * 4_000_000
    played = plan + np.rint(rng.normal(-80_000, 250_000, 24)).astype(np.int64)

    found = align(plan, np.full(24, -1), played, np.full(24, 60), delay_ms=0.0)

    assert list(range(24)) == found.match.tolist()
    assert found.confidence.min() > 0.5


def test_a_fast_part_does_not_reach_as_far() -> None:
    """Among eighths at 120 bpm a stroke 400 ms off is a miss and an extra note, not a late hit."""
    plan = np.arange(32) * 250_000
    keys = np.array([60, 62, 64, 65, 67, 69, 71, 72] * 4)
    played = plan.copy()
    played[15] += 400_000
    order = np.argsort(played, kind="stable")

    found = align(plan, keys, played[order], keys[order], delay_ms=0.0)

    assert -1 == found.match[15]
    assert 31 == int((found.match >= 0).sum())
