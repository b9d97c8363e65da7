"""Hands-free control on the screen: a pedal begins the take, ends it, and begins the next."""

import asyncio
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.player_setup import Player, player_of
from heeltap.app.drill.run import Settings
from heeltap.app.drill.split import split_wanted
from heeltap.files.settings import read_settings
from heeltap.files.takes.folder import list_takes, load_take
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.session.handsfree import Controls, Trigger
from heeltap.tui.drill_app import DrillApp
from tests.app.test_run import a_drill

pytestmark = pytest.mark.live

PEDAL = Controls({"start": Trigger("cc", 64), "stop": Trigger("cc", 64)})


def a_foot(*presses_us: int) -> Schedule:
    """A pedal that goes down and up, beside a note every 200 ms."""
    rows = [(at, b"\xb0\x40\x7f") for at in presses_us] + [(at + 50_000, b"\xb0\x40\x00") for at in presses_us]
    rows += [(int(at), b"\x90\x3c\x50") for at in np.arange(16) * 200_000]
    rows.sort()
    return Schedule(as_ints(at for at, _ in rows), tuple(data for _, data in rows), ("on",) * len(rows), rows[-1][0])


def test_a_pedal_begins_and_ends_takes(tmp_path: Path) -> None:
    """Nobody touches the computer: the listener hears the pedal, the take begins; the pedal again ends it, and so on.

    The scripted foot does the same whenever a port is opened: down after 0.9 s. Waiting, that is the start; playing,
    the stop.
    """
    settings = Settings(
        "fake:", script=a_foot(900_000), takes=tmp_path, start_delay_us=100_000, player=Player(controls=PEDAL)
    )
    app = DrillApp(a_drill(bars=8), settings)

    async def run() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(600):
                if len(app.outcomes) >= 2:
                    break
                await pilot.pause(0.05)
            await pilot.press("q")

    asyncio.run(run())

    takes = [load_take(folder) for folder in list_takes(tmp_path)]
    assert [outcome.ending for outcome in app.outcomes[:2]] == ["stopped", "stopped"]
    assert len(takes) >= 2
    assert {"cc64"} == {text for take in takes for text in take.context.controls.values()}
    assert all(4 <= len(take.notes) <= 6 for take in takes[:2])


def test_without_controls_nobody_listens(tmp_path: Path) -> None:
    """No engine runs while nothing is played: the ports are free for other programs."""
    app = DrillApp(a_drill(), Settings("keys", takes=tmp_path))

    async def run() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause(0.2)
            assert app.listener._opening is None
            await pilot.press("q")

    asyncio.run(run())
    assert app.return_value == 0


def test_the_split_is_asked_once_and_kept(tmp_path: Path) -> None:
    """An exercise for both hands on any keys asks for the lowest key of the right hand; the next one does not ask again."""
    script = Schedule(as_ints([700_000]), (b"\x90\x3c\x50",), ("on",), 800_000)
    drill = drill_of("anchor hands")
    first = DrillApp(drill, Settings("fake:", script=script, takes=tmp_path))

    async def answer() -> None:
        async with first.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            assert "Which keys are your right hand's?" in first.message
            for _ in range(200):
                if first.settings.player.split_key is not None:
                    break
                await pilot.pause(0.05)
            assert "Your right hand begins at C4" in first.message
            await pilot.press("q")

    asyncio.run(answer())

    kept = read_settings()
    assert (60, 60) == (kept.split_key, first.settings.player.split_key)
    again = Settings("fake:", player=player_of(kept, ("fake:",)))
    assert (True, False) == (split_wanted(drill, Settings("fake:")), split_wanted(drill, again))
    assert not split_wanted(drill, Settings("keys"))
    assert not split_wanted(drill_of("anchor all"), Settings("fake:"))
