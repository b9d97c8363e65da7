"""Whether somebody gets better, in sentences."""

import re
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from heeltap.app.takes.trend import trends
from heeltap.cli import main
from heeltap.model.past_take import PastTake
from heeltap.views.trend import trend_text
from tests.makers.screens import past_take


def takes(spreads: list[float], *, days: int, method: str = "same-path", bpm: float = 96.0) -> list[PastTake]:
    """Two takes a day with these spreads; the averages come from 24 ms early to 4."""
    begin = datetime.fromisoformat("2026-03-02T18:00:00+01:00")
    rows = []
    for number, spread in enumerate(spreads):
        when = begin + timedelta(days=number * days // len(spreads), minutes=number)
        row = past_take(
            when.isoformat(), "anchor", "backbeat", bpm, -24.0 + 20 * number / len(spreads), 90.0, "Two and four"
        )
        rows.append(replace(row, spread_ms=spread, method=method, n=64, held=0.6 + 0.3 * number / len(spreads)))
    return rows


def told(rows: list[PastTake]) -> str:
    """The text in one line."""
    return " ".join(trend_text(trends(rows)).split())


def test_what_is_sure_is_said_with_its_least_size() -> None:
    """A spread from 20 to 10 ms, an average from 24 to 4 ms beside the lean, more strokes in the pocket."""
    rng = np.random.default_rng(1)
    text = told(takes(list(np.linspace(20, 10, 20) + rng.normal(0, 0.4, 20)), days=10))

    assert "anchor backbeat (Two and four): 20 takes on 10 days, 2026-03-02 to 2026-03-11" in text
    assert re.search(r"Your spread came from (19|20) ms to 1[01] ms \(sure: at least [789] ms better\)", text)
    assert re.search(
        r"The distance of your average from your lean came from 2[34] ms to [56] ms \(sure: at least 1\d ms", text
    )
    assert re.search(r"The strokes in the pocket came from 6[01] % to 8[89] % \(sure: at least 2\d % better\)", text)
    assert "worse" not in text


def test_worse_is_said_as_well() -> None:
    """From 10 to 20."""
    text = told(takes(list(np.linspace(10, 20, 20)), days=10))

    assert re.search(r"Your spread came from 1[01] ms to 20 ms \(sure: at least \d ms worse\)", text)


def test_nothing_told_says_what_would_have_shown() -> None:
    """The same spread throughout, with noise; no average where nobody measured the delay."""
    rng = np.random.default_rng(2)
    text = told(takes(list(15 + rng.normal(0, 2.0, 20)), days=10, method="none"))

    assert "Your spread: no change that can be told yet; one of" in text
    assert "The distance of your average" not in text


def test_another_tempo_is_no_progress() -> None:
    """A spread of 4 % of the beat at 120 and then at 60 bpm is the same playing."""
    fast, slow = takes([20.0] * 8, days=4, bpm=120.0), takes([40.0] * 8, days=4, bpm=60.0)
    later = [replace(row, date=row.date.replace("2026-03", "2026-04")) for row in slow]

    assert "no change that can be told yet" in told([*fast, *later]).split("The distance")[0]


@pytest.mark.parametrize(("days", "said"), [(1, "after 3 more days"), (3, "after 1 more day")])
def test_too_few_days_say_how_many_more(days: int, said: str) -> None:
    """Four days are the least."""
    assert f"Too few days to tell; {said} heeltap can say something." in told(takes([15.0] * 6, days=days))


def test_takes_of_a_few_strokes_are_left_out() -> None:
    """Nothing is told of nothing."""
    rows = [replace(row, n=8) for row in takes([15.0] * 6, days=6)]

    assert "There are no takes yet" in told(rows)


def test_the_command_tells_the_trend(capsys: pytest.CaptureFixture[str]) -> None:
    """Of an empty history, too."""
    assert 0 == main(["history", "trend"])
    assert "There are no takes yet" in capsys.readouterr().out
