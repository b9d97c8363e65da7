"""Whatever a person does, each file that it takes is parsed once: counted where the bytes become data."""

import importlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heeltap.app.drill.drill import Drill
from heeltap.app.drill.run import Settings, drill
from heeltap.app.listen.piece import Piece, piece_of_listed_bars, piece_of_take
from heeltap.app.practice import sets
from heeltap.app.practice.classroom import read_class
from heeltap.app.practice.handin import hand_in
from heeltap.app.score.compare import compare_takes
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import score_path
from heeltap.app.takes.finish_take import recover
from heeltap.app.takes.history import history, rebuild
from heeltap.cli import main
from heeltap.devices.fake import script_from_notes
from heeltap.files.takes.folder import open_take
from heeltap.files.takes.journal import JournalWriter
from heeltap.files.takes.metadata import Context, plan_out
from heeltap.model.notes import make_notes
from heeltap.model.plan_from import plan_of
from heeltap.sound.click import CLICK_SOUNDS, ClickSound
from tests.makers.classes import keep_raw, small_class
from tests.makers.drills import counted_plan
from tests.makers.kept import keep, keep_many

DEMO = Path(__file__).resolve().parents[2] / "demo"

PARSERS = {
    "context": ("files.takes.metadata", "context_from", ["files.takes.folder", "app.practice.handin"]),
    "journal": ("files.takes.journal", "journal_from", ["app.practice.classroom_scoring"]),
    "midi": ("files.smf.reader", "parse_midi", []),
    "set": ("files.toml.sets", "_set", []),
    "made": ("app.practice.sets", "_work", []),
    "hand-in": ("files.handin_read", "_file_bytes", []),
}
"""Where bytes become data: module, function, and modules that took the function over by name."""

Counted = Callable[[Callable[[], object]], dict[str, int]]


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counted:
    """Runs something; how often each kind of file was parsed meanwhile."""
    seen: Counter[str] = Counter()

    def counting(kind: str, parse: Callable[..., Any]) -> Callable[..., Any]:
        def parse_and_count(*args: Any, **more: Any) -> Any:
            seen[kind] += 1
            return parse(*args, **more)

        return parse_and_count

    def run(act: Callable[[], object]) -> dict[str, int]:
        for kind, (home, name, others) in PARSERS.items():
            parse = counting(kind, getattr(importlib.import_module(f"heeltap.{home}"), name))
            for module in (home, *others):
                monkeypatch.setattr(f"heeltap.{module}.{name}", parse)
        act()
        return dict(seen)

    return run


@pytest.mark.live
def test_the_end_of_a_drill_reads_each_of_its_files_once(tmp_path: Path, counted: Counted) -> None:
    """The journal makes the take, the take makes the result, and the same reading goes into the history."""
    plan = counted_plan(["1 2 3 4"], bpm=300.0)
    what = Drill("quarters", "Quarters", "", plan, None, 1, 0.0, None, None, None)
    script = script_from_notes(make_notes(plan.at_us, [60] * 4, [80] * 4, duration_us=[50_000] * 4))
    settings = Settings("fake:", script=script, start_delay_us=50_000, takes=tmp_path)

    assert {"journal": 1, "context": 1, "midi": 1} == counted(lambda: drill(what, settings, lambda *_: None))


def test_a_take_that_was_left_behind_is_read_once(tmp_path: Path, counted: Counted) -> None:
    """Its journal says where it ends and what was played; its context how it began."""
    plan = counted_plan(["1 2 3 4"] * 2)
    take = open_take(tmp_path, Context(heeltap="0", name="quarters", plan=plan_out(plan)))
    with JournalWriter(take.journal, {"zero_ns": 10**10}) as writer:
        writer.message(10**10 + 5_000_000, 0.0, [0x99, 38, 90], "Pad")
    take.lock.release()

    assert {"journal": 1, "context": 1} == counted(lambda: recover(tmp_path))


@pytest.mark.parametrize("act", [history, rebuild, lambda root: [score_path(one) for one in root.glob("2*")]])
def test_a_kept_take_is_read_once_to_be_scored(
    act: Callable[[Path], object], tmp_path: Path, rng: np.random.Generator, counted: Counted
) -> None:
    """For the history, for a rebuild of it and for a report."""
    keep_many(tmp_path, ["2026-03-02T18:00:00+01:00", "2026-03-03T18:00:00+01:00"], rng)

    assert {"context": 2, "midi": 2} == counted(lambda: act(tmp_path))


@pytest.mark.parametrize("piece", [piece_of_take, piece_of_listed_bars])
def test_a_take_is_read_once_to_be_heard(
    piece: Callable[[Path, ClickSound], Piece], tmp_path: Path, rng: np.random.Generator, counted: Counted
) -> None:
    """Where the notes belong is told by the same reading as the notes, for the whole take and for its listed bars."""
    folder = keep(tmp_path, rng=rng)

    assert {"context": 1, "midi": 1} == counted(lambda: piece(folder, CLICK_SOUNDS["wood"]))


def test_takes_to_compare_and_their_plan_are_read_once(counted: Counted) -> None:
    """Two files and one plan are three readings."""
    files = [DEMO / f"tollgate-road-take-{number}.mid" for number in (1, 2)]
    reading = Reading(part="keys", plan=DEMO / "tollgate-road.mid")

    assert {"midi": 3} == counted(lambda: compare_takes(files, reading))


def test_a_take_that_is_handed_in_is_read_once(tmp_path: Path, rng: np.random.Generator, counted: Counted) -> None:
    """What goes into the file is what was scored."""
    _first_week_take(tmp_path / ".home", rng)

    found = counted(lambda: hand_in("first-week", name="Tove", out=tmp_path / "a.handin", takes=tmp_path / ".home"))

    assert {"context": 1, "midi": 1} == {kind: found[kind] for kind in ("context", "midi")}


def test_every_hand_in_of_a_class_is_read_once(tmp_path: Path, rng: np.random.Generator, counted: Counted) -> None:
    """With the set named, two hand-ins of one take each."""
    set_path = small_class(tmp_path, rng)

    found = counted(lambda: read_class(tmp_path, set_name=set_path))

    assert (2, 2) == (found["hand-in"], found["journal"])


def test_a_shipped_set_is_found_without_making_the_others(
    tmp_path: Path, rng: np.random.Generator, counted: Counted
) -> None:
    """The hand-in is read once, and of five shipped sets one is made."""
    _first_week_take(tmp_path / ".home", rng)
    hand_in("first-week", name="Tove", out=tmp_path / "a.handin", takes=tmp_path / ".home")
    works = len(sets.open_set("first-week").works)
    sets._open_shipped.cache_clear()

    found = counted(lambda: read_class(tmp_path))

    assert {"hand-in": 1, "journal": 1, "set": 1, "made": works} == {
        kind: found[kind] for kind in ("hand-in", "journal", "set", "made")
    }


@pytest.mark.parametrize("action", ["check", "show", "sheet"])
def test_a_set_is_read_once_to_be_checked_shown_or_printed(action: str, counted: Counted) -> None:
    """Its mistakes are found while it is opened."""
    assert 1 == counted(lambda: main(["set", action, "first-week"]))["set"]


def _first_week_take(root: Path, rng: np.random.Generator) -> None:
    """A kept take of the first exercise of a shipped set."""
    exercise = sets.open_set("first-week").works[0].item.exercise
    assert exercise is not None
    keep_raw(root, exercise, rng.normal(0, 9, len(plan_of(exercise))))
