"""A drill leaves its take in the history, and a history in trouble costs neither the take nor the result."""

from pathlib import Path

import pytest

from heeltap.app.drill.run import drill
from heeltap.app.takes.history import history
from heeltap.files.history_db import index_file
from heeltap.files.takes.folder import list_takes
from tests.app.test_run import OFFSETS_MS, a_drill, settings


@pytest.mark.live
def test_a_drill_is_in_the_history_when_it_ends(tmp_path: Path) -> None:
    """With the figures of its result; reading the history afterwards finds nothing new to take in."""
    what = a_drill()
    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path), lambda *_: None)
    assert outcome.result is not None

    assert index_file(tmp_path).exists()
    assert "" == outcome.notice
    (row,) = history(tmp_path).takes
    assert (outcome.result.overall.bias_ms, "quarters", "played") == (row.bias_ms, row.exercise, row.ending)


@pytest.mark.live
def test_a_broken_history_costs_a_line_and_nothing_else(tmp_path: Path) -> None:
    """Take and result are there as ever; the outcome says in one line what is wrong with the history."""
    index_file(tmp_path).parent.mkdir()
    index_file(tmp_path).write_text("no database " * 1000)
    what = a_drill()

    outcome = drill(what, settings(what, OFFSETS_MS, takes=tmp_path), lambda *_: None)

    assert ("", "played") == (outcome.problem, outcome.ending)
    assert outcome.result is not None
    assert [outcome.folder] == list_takes(tmp_path)
    assert "not yet in the history" in outcome.notice
    assert "\n" not in outcome.notice
