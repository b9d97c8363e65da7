"""The leader: a reference that is near the drums where they play, honest where they do not, and who is early."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heeltap.analysis.leader.curve import LEVEL_SD_MS, fit_curve
from heeltap.analysis.leader.leader import fit_leader, kick_and_snare, lag_behind, who_leads
from heeltap.model.notes import make_notes
from tests.makers.amounts import amount
from tests.makers.leaders import Song, lead_and_follow


def dense_answer(
    quarter: np.ndarray, offset: np.ndarray, at: np.ndarray, memory: float, share: float
) -> tuple[np.ndarray, np.ndarray]:
    """Level, curve and variance of one model by plain Gaussian regression on full matrices."""
    own = share * np.exp(-np.abs(quarter[:, None] - quarter[None, :]) / memory)
    total = own + (1 - share) * np.eye(quarter.size)
    cross = share * np.exp(-np.abs(at[:, None] - quarter[None, :]) / memory)
    inverse = np.linalg.inv(total)
    ones = np.ones(quarter.size)
    level = ones @ inverse @ offset / (ones @ inverse @ ones)
    freedom = 4.0 + quarter.size - 1
    rest = offset - level
    scale = (4.0 * 12.0**2 + rest @ inverse @ rest) / freedom * freedom / (freedom - 2)
    variance = scale / (ones @ inverse @ ones)
    drawn = LEVEL_SD_MS**2 / (LEVEL_SD_MS**2 + variance)
    pull = cross @ inverse @ ones
    mean = cross @ inverse @ offset + (1 - pull) * level * drawn
    spread = scale * (share - np.sum((cross @ inverse) * cross, axis=1)) + (1 - pull) ** 2 * variance * drawn
    return mean, np.sqrt(spread)


@pytest.mark.parametrize("model", [(2.0, 0.7), (16.0, 0.3), (64.0, 0.95)])
def test_the_filter_equals_full_matrices(model: tuple[float, float], monkeypatch: pytest.MonkeyPatch) -> None:
    """For one model, filter, smoother and bridge give what inverting the whole covariance matrix gives."""
    monkeypatch.setattr("heeltap.analysis.leader.curve.MODELS", (model,))
    rng = np.random.default_rng(1)
    quarter = np.sort(rng.uniform(0, 40, 25))
    offset = rng.normal(5, 8, 25)
    at = np.concatenate([rng.uniform(-5, 50, 40), quarter[:3]])
    mean, error = fit_curve(quarter, offset).at(at)
    expected_mean, expected_error = dense_answer(quarter, offset, at, *model)

    assert mean == pytest.approx(expected_mean)
    assert error == pytest.approx(expected_error)


@settings(max_examples=amount(40, fast=15))
@given(st.lists(st.tuples(st.floats(0, 64), st.floats(-80, 80)), min_size=1, max_size=30), st.floats(-10, 90))
def test_the_reference_is_a_number_with_an_error(hits: list[tuple[float, float]], at: float) -> None:
    """Any leader with at least one hit gives a finite time everywhere, and never claims to know it exactly."""
    value, error = fit_leader([q for q, _ in hits], [ms for _, ms in hits]).reference_ms_at(at)

    assert np.isfinite(value).all()
    assert (error > 0).all()


def test_a_silent_leader_is_the_click_with_a_wide_error() -> None:
    """Without a hit the reference is the click, 19 ms unsure."""
    value, error = fit_leader([], []).reference_ms_at([0.0, 17.0])

    assert value.tolist() == [0.0, 0.0]
    assert error == pytest.approx(np.hypot(15.0, 12.0))


def test_the_error_grows_with_the_distance_from_the_hits() -> None:
    """At a hit the leader is known best; ten and a hundred quarters later worse and worse."""
    song = lead_and_follow(np.random.default_rng(2), 16)
    last = song.leader_quarter[-1]
    _, error = fit_leader(song.leader_quarter, song.leader_ms).reference_ms_at([last, last + 10, last + 100])

    assert error[0] < error[1] < error[2]


def test_far_from_the_hits_the_leader_falls_back_to_its_level() -> None:
    """A thousand quarters away the reference is the song's own level, drawn a little to the click."""
    song = lead_and_follow(np.random.default_rng(3), 64)
    value, _ = fit_leader(song.leader_quarter, song.leader_ms).reference_ms_at(2000.0)

    assert value[0] == pytest.approx(song.leader_ms.mean(), abs=4.0)


def test_a_fumbled_hit_does_not_drag_the_reference() -> None:
    """One hit 90 ms late moves the reference there by less than 5 ms."""
    song = lead_and_follow(np.random.default_rng(4), 32)
    fumbled = song.leader_ms.copy()
    fumbled[60] += 90.0
    at = song.leader_quarter[60]
    before, after = (
        float(fit_leader(song.leader_quarter, ms).reference_ms_at(at)[0][0]) for ms in (song.leader_ms, fumbled)
    )

    assert abs(after - before) < 5.0


def songs(count: int, bars: int, seed: int, **how: object) -> list[Song]:
    """Several simulated songs with lags between -25 and 25 ms."""
    rng = np.random.default_rng(seed)
    return [lead_and_follow(rng, bars, lag_ms=float(rng.uniform(-25, 25)), **how) for _ in range(count)]  # type: ignore[arg-type]


def errors(several: list[Song]) -> tuple[float, float]:
    """Root mean square error of the reference, and share of it within its 95 % interval."""
    wrong, inside = [], []
    for song in several:
        value, error = fit_leader(song.leader_quarter, song.leader_ms).reference_ms_at(song.follower_quarter)
        wrong.append(np.mean((value - song.reference_ms) ** 2))
        inside.append(np.mean(np.abs(value - song.reference_ms) <= 1.96 * error))
    return float(np.sqrt(np.mean(wrong))), float(np.mean(inside))


def test_the_reference_beats_the_nearest_hit_and_the_click() -> None:
    """Its error is under two thirds of the nearest hit's and under a third of the click's."""
    several = songs(20, 64, 5)
    nearest = np.sqrt(
        np.mean(
            [
                np.mean(
                    (
                        s.leader_ms[np.abs(s.leader_quarter[None] - s.follower_quarter[:, None]).argmin(1)]
                        - s.reference_ms
                    )
                    ** 2
                )
                for s in several
            ]
        )
    )
    click = np.sqrt(np.mean([np.mean(s.reference_ms**2) for s in several]))
    ours, _ = errors(several)

    assert ours < 0.67 * nearest
    assert ours < 0.34 * click


@pytest.mark.parametrize(("bars", "within"), [(64, 0.5), (16, 1.0)])
def test_the_lag_of_a_follower(bars: int, within: float) -> None:
    """The median error of the lag is within 0.5 ms in 64 bars and 1 ms in 16."""
    wrong = []
    for song in songs(amount(120, fast=30), bars, 6):
        found = lag_behind(fit_leader(song.leader_quarter, song.leader_ms), song.follower_quarter, song.follower_ms)
        assert found.value is not None
        wrong.append(abs(found.value - song.lag_ms))

    assert np.median(wrong) <= within


@pytest.mark.slow
@pytest.mark.parametrize("leader", ["full", "sparse", "silent"])
@pytest.mark.parametrize("bars", [16, 64])
def test_the_intervals_hold(leader: str, bars: int) -> None:
    """Reference: 93 to 97 % covered, to two standard errors; lag: at least 93 %, more in short songs."""
    several = songs(200, bars, 7, leader=leader)
    _, covered = errors(several)
    held = 0
    for song in several:
        found = lag_behind(fit_leader(song.leader_quarter, song.leader_ms), song.follower_quarter, song.follower_ms)
        assert found.ci95 is not None
        held += found.ci95[0] <= song.lag_ms <= found.ci95[1]

    assert 0.92 <= covered <= 0.98
    assert held / 200 >= 0.93


@pytest.mark.slow
@pytest.mark.parametrize("curve", ["forgets", "long"])
def test_who_is_early_is_right_when_said(curve: str) -> None:
    """Full, sparse and silent leaders, 16 and 64 bars: right in 99 % of what is said, and said in 45 % of all."""
    said = right = total = 0
    for leader in ("full", "sparse", "silent"):
        for bars in (16, 64):
            for song in songs(100, bars, 8, leader=leader, curve=curve, own_rho=0.5):
                (pair,) = who_leads([(song.leader_quarter, song.leader_ms), (song.follower_quarter, song.follower_ms)])
                total += 1
                said += pair.early is not None
                right += pair.early == (0 if song.lag_ms > 0 else 1)

    assert right >= 0.99 * said
    assert said >= 0.45 * total


def test_who_is_early_among_three() -> None:
    """Keys 12 ms behind, bass with the drums: the keys are late against both, the other pair cannot be told."""
    rng = np.random.default_rng(9)
    quantise = np.arange(0, 128, 0.5)
    slow = 8 * np.sin(quantise / 17)
    drums, bass, keys = (slow + shift + rng.normal(0, 6, quantise.size) for shift in (0, 0, 12))
    pairs = {(p.first, p.second): p for p in who_leads([(quantise, drums), (quantise, bass), (quantise, keys)])}

    assert (pairs[0, 1].early, pairs[0, 2].early, pairs[1, 2].early) == (None, 0, 1)
    assert pairs[0, 2].difference_ms == pytest.approx(-12, abs=2)


def test_the_pair_swapped_is_the_same_answer() -> None:
    """Swapping the parts swaps the sign and nothing else."""
    song = lead_and_follow(np.random.default_rng(10), 32)
    one, two = (song.leader_quarter, song.leader_ms), (song.follower_quarter, song.follower_ms)
    (there,), (back,) = who_leads([one, two]), who_leads([two, one])

    assert there.difference_ms == pytest.approx(-back.difference_ms)  # type: ignore[operator]
    assert (there.early, back.early) in {(0, 1), (1, 0), (None, None)}


def test_parts_that_never_meet_are_compared_by_the_curve() -> None:
    """Snare on two and four, bass on one and three, 15 ms behind: no shared place, and yet it is told."""
    rng = np.random.default_rng(11)
    snare, bass = np.arange(1, 128, 2.0), np.arange(0, 128, 2.0)
    (pair,) = who_leads([(snare, rng.normal(0, 5, 64)), (bass, rng.normal(15, 5, 64))])

    assert not pair.shared
    assert pair.early == 0


def test_too_little_played_cannot_be_told() -> None:
    """Three strokes each, or a silent part: no interval, nobody is called early."""
    (few,) = who_leads([([0, 1, 2], [0.0, 1.0, 2.0]), ([0, 1, 2], [30.0, 31.0, 33.0])])
    (silent,) = who_leads([([0, 1, 2], [0.0, 1.0, 2.0]), ([], [])])

    assert (few.ci95_ms, few.early, silent.early) == (None, None, None)


def test_kick_and_snare_lead() -> None:
    """Of the drum channel only kicks, side stick and snares are picked; other channels never."""
    notes = make_notes([0, 1, 2, 3], [36, 42, 38, 51], channel=9)
    piano = make_notes([0, 1], [36, 38], channel=0)

    assert kick_and_snare(notes).pitch.tolist() == [36, 38]
    assert len(kick_and_snare(piano)) == 0
    assert len(kick_and_snare(piano, channel=None)) == 2


def test_kick_and_snare_together_are_one_hit() -> None:
    """Two drums at one place count once, at their mean."""
    leader = fit_leader([0.0, 0.0, 1.0], [4.0, 8.0, 5.0])

    assert leader.offset_ms.tolist() == [6.0, 5.0]


def test_places_and_offsets_must_belong_together() -> None:
    """Different lengths and missing values are refused in words."""
    with pytest.raises(ValueError, match="2 places and 1 offsets"):
        fit_leader([0.0, 1.0], [3.0])
    with pytest.raises(ValueError, match="all finite"):
        fit_leader([0.0, 1.0], [3.0, np.nan])
