"""The history as text, CSV and JSON."""

import csv
import io
import json
from dataclasses import replace

import pytest

from heeltap.views.history import CSV_COLUMNS, as_csv, as_json, guarded, render_history
from tests.files.test_history_db import a_take


def test_the_list_is_by_day_newest_last() -> None:
    """Two days, each with its name and a line a take, exactly so."""
    takes = [
        a_take(folder="a", date="2026-03-02T18:00:00+01:00", spread_ms=9.4),
        a_take(folder="b", date="2026-03-02T18:04:00+01:00", family="", exercise="tollgate-road", method="none"),
        a_take(
            folder="c", date="2026-03-03T07:30:00+01:00", ending="stopped", bias_ms=None, in_pocket=None, score=None
        ),
    ]

    assert """\
Monday, 2 March 2026
  time   exercise                  bpm strokes average  spread pocket score
  18:00  anchor backbeat            96      32      -3       9   90 %    88
  18:04  tollgate-road              96      32      -3*      ·   90 %    88

Tuesday, 3 March 2026
  time   exercise                  bpm strokes average  spread pocket score
  07:30  anchor backbeat            96      32       ·       ·      ·     ·  stopped

Average: ms from where you aimed, minus is early. Pocket: how many of your strokes are in it.
A star: heeltap did not know the delay of your gear, so the gear may have made you early or late.
The newest 3 of 9 takes; --all lists every one.
""" == render_history(takes, total=9)


def test_the_list_is_never_wider_than_a_terminal_that_suffices() -> None:
    """Long names are cut, odd dates are no trouble."""
    text = render_history([a_take(family="", exercise="a-very-long-name-indeed-of-a-song", date="not a date")])

    assert [] == [line for line in text.splitlines()[:3] if len(line) > 80]
    assert "…" in text


def test_no_takes_say_how_to_get_some() -> None:
    """One line."""
    assert "No takes yet. Play one with heeltap drill; heeltap keeps them all.\n" == render_history([])


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1+1", "\u00a0=1", "\uff1dcmd", "\ufeff=HYPERLINK(1)"],
)
def test_no_text_is_a_formula(text: str) -> None:
    """An apostrophe stands before everything that a spreadsheet could take for one, in every text column."""
    row = a_take(exercise=text, title=text, ending=text)
    (cells,) = list(csv.DictReader(io.StringIO(as_csv([row]).decode(), newline="")))

    assert f"'{text}" == guarded(text)
    assert [f"'{text}"] * 3 == [cells["exercise"], cells["title"], cells["ending"]]


def test_numbers_and_plain_texts_stay_as_they_are() -> None:
    """A negative number is a number, not a formula; a hyphen inside a name does no harm."""
    (cells,) = list(csv.DictReader(io.StringIO(as_csv([a_take()]).decode(), newline="")))

    assert set(CSV_COLUMNS) == set(cells)
    assert ("-3.25", "", "anchor-backbeat_4-4_s1", "0.3", "fills off-beats") == tuple(
        cells[name] for name in ("bias_ms", "spread_ms", "exercise", "held", "findings")
    )


def test_json_has_every_field() -> None:
    """Under the names of the type, with a format that programs can check."""
    document = json.loads(as_json([a_take(), replace(a_take(2), seed=7)]))

    assert "heeltap.history/1" == document["format"]
    assert ["take-0001", "take-0002"] == [take["folder"] for take in document["takes"]]
    assert [["fills", -12.5], ["off-beats", 0.1 + 0.2]] == document["takes"][0]["findings"]
    assert set(a_take().__slots__) == set(document["takes"][0])
