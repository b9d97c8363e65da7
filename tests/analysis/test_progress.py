"""Whether a player improves: told when it is so, and not told of players who stay the same."""

import numpy as np
import pytest

from heeltap.analysis.compare.progress import FEWEST, Progress, Trend, progress_over
from tests.makers.judgements import told_of_players_who_stay_the_same, week_of_tables


def trend(progress: Progress, what: str) -> Trend:
    """The trend of one thing."""
    return next(one for one in progress.trends if one.what == what)


def test_getting_tighter_is_told_with_its_size() -> None:
    """from 22 to 12 ms over twenty takes: the line's ends are near, and the interval holds the true factor."""
    found = trend(progress_over(week_of_tables(np.linspace(22, 12, 20).tolist(), np.random.default_rng(1))), "spread")

    assert found.told
    assert (found.first, found.last) == (pytest.approx(22, rel=0.2), pytest.approx(12, rel=0.2))
    assert found.per_take_ci95[0] < (12 / 22) ** (1 / 19) < found.per_take_ci95[1]


def test_running_less_into_the_changes_is_told() -> None:
    """From 30 to 8 ms ahead, which a spread hides."""
    rushes = np.linspace(30, 8, 10).tolist()
    found = progress_over(week_of_tables([12.0] * 10, np.random.default_rng(2), rush_ms=rushes))

    assert trend(found, "rush").told
    assert trend(found, "rush").first < trend(found, "rush").last < 0
    assert not trend(found, "spread").told


def test_an_average_that_moves_is_told_whatever_the_delay() -> None:
    """From 20 ms early to 2, beside the lean or beside a constant delay that nobody knows."""
    tables = week_of_tables([10.0] * 12, np.random.default_rng(3), bias_ms=np.linspace(-20, -2, 12).tolist())

    for lean_ms in (0.0, None):
        assert trend(progress_over(tables, lean_ms=lean_ms), "bias").told
    assert trend(progress_over(tables, lean_ms=10.0), "bias").first == pytest.approx(-30, abs=8)


def test_best_in_the_middle_is_told() -> None:
    """Tighter until the eighth of fourteen takes and looser since."""
    spreads = np.concatenate([np.linspace(22, 11, 8), np.linspace(13, 22, 6)]).tolist()
    found = progress_over(week_of_tables(spreads, np.random.default_rng(4)))

    assert found.best is not None
    assert 4 <= found.best.first <= 7 <= found.best.last <= 10
    assert found.best.spread < 15 < found.best.now


def test_best_at_the_very_beginning_is_no_best_time() -> None:
    """Who gets looser from the first take on was best before anybody looked."""
    spreads = 8.0 + 0.25 * np.arange(14.0) ** 2
    found = progress_over(week_of_tables(spreads.tolist(), np.random.default_rng(3)))

    assert found.best is None


@pytest.mark.parametrize("takes", [2, 3, 4])
def test_too_few_takes_say_how_many_more(takes: int) -> None:
    """Below five nothing is told, and how many are wanting is said."""
    found = progress_over(week_of_tables([12.0] * takes, np.random.default_rng(5)))

    assert ((), None, FEWEST - takes) == (found.trends, found.best, found.needed)


def test_what_cannot_be_told_yet_says_when() -> None:
    """A slow gain over six takes: some takes more would tell."""
    found = trend(progress_over(week_of_tables(np.linspace(16, 12.5, 6).tolist(), np.random.default_rng(6))), "spread")

    assert not found.told
    assert found.more_takes is not None
    assert 1 <= found.more_takes <= 30


def test_other_tempi_are_followed_in_shares_of_the_pocket() -> None:
    """The same spread in % of the beat at 120 and 150 bpm is no change; the unit says so."""
    spreads = [10.0 if index % 2 == 0 else 8.0 for index in range(12)]
    found = progress_over(week_of_tables(spreads, np.random.default_rng(7), tempi_bpm=(120.0, 150.0)))

    assert not found.one_tempo
    assert trend(found, "spread").first == pytest.approx(50, rel=0.25)


def test_empty_takes_are_left_out() -> None:
    """A take without strokes is no take to follow."""
    tables = week_of_tables([12.0] * 4, np.random.default_rng(8))
    empty = tables[0].pick(np.zeros(0, np.int64))

    assert 1 == progress_over([*tables, empty]).needed


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ar0", "wander", "long90"])
@pytest.mark.parametrize("takes", [5, 12, 20])
def test_players_who_stay_the_same_are_told_nothing(kind: str, takes: int) -> None:
    """Of 400 whose days differ a little, one in twenty at most is told of a change (three standard errors: 0.083)."""
    assert told_of_players_who_stay_the_same(np.random.default_rng(9), takes=takes, kind=kind, players=400) <= 0.083
