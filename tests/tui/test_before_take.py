"""Before a take: every hit is shown, the click can be tried, the tempo can be tapped."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest
from textual.pilot import Pilot

from heeltap.app.drill.changes import before, tempo_of
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.handsfree import Hit
from heeltap.app.drill.player_setup import Player
from heeltap.app.drill.run import Settings
from heeltap.files.settings import read_settings
from heeltap.files.takes.journal import read_journal
from heeltap.model.arrays import as_ints
from heeltap.model.messages import Schedule
from heeltap.session.session import Feedback, Phase
from heeltap.tui.before_take import BeforeTake, click_words
from heeltap.tui.drill_app import DrillApp
from heeltap.tui.screens.drill import draw_drill, view_of
from heeltap.views.bar_sheet import UNICODE, plain
from tests.app.test_run import a_drill
from tests.tui.test_drill_app import text_of, until
from tests.tui.test_handsfree import PEDAL, a_foot


def hit(pitch: int, channel: int = 0, at_ms: int = 0, port: str = "Pad") -> Hit:
    """A key that was struck."""
    return Hit(port, pitch, 87, channel, at_ms * 1_000_000)


def test_every_hit_is_named_and_counted() -> None:
    """Key, velocity and port; a pad on channel 10 by its drum; two alike are told apart by their number."""
    tried = BeforeTake()
    seen = []
    for one in (hit(60), hit(60), hit(38, channel=9)):
        tried.hear([one], 1.0)
        seen.append(tried.heard)

    assert [
        "hit 1: C4, velocity 87, on Pad",
        "hit 2: C4, velocity 87, on Pad",
        "hit 3: acoustic snare, velocity 87, on Pad",
    ] == seen


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_ready_screen_shows_it_in_a_line_of_its_own(size: tuple[int, int]) -> None:
    """Whole at 80 columns, under the ports; while you play, it is gone."""
    what = drill_of("anchor 1")
    view = view_of(what, Settings("Drum Pads", "Synth"), UNICODE)
    view = replace(view, width=size[0], height=size[1], heard="hit 12: acoustic snare, velocity 127, on Drum Pads")
    ready = before(what, Feedback.BAR)

    assert f"  {view.heard}" == plain(draw_drill(ready, view))[2].rstrip()
    assert size[1] == len(draw_drill(ready, view))
    assert view.heard not in "".join(plain(draw_drill(replace(ready, phase=Phase.PLAYING, now_us=0), view)))


def test_four_hits_after_the_key_are_the_tempo() -> None:
    """The key t asks; taps where you play are counted by themselves; without it a hit is only a hit."""
    tried = BeforeTake()
    silent = [tried.hear([hit(60, at_ms=at)], 1.0) for at in (0, 500, 1000, 1500)]
    _, asked = tried.tap_key(5_000_000_000, 1.0)
    *_, (bpm, words) = [tried.hear([hit(60, at_ms=at)], 1.0) for at in (9000, 9500, 10_000, 10_500)]

    assert [(None, "")] * 4 == silent
    assert "Tap 4 beats, here or where you play: 1 of 4 on the key t." == asked
    assert (120.0, "120 bpm, as you tapped.") == (bpm, words)
    assert not tried.tapping


def test_a_silent_output_is_told_with_the_way_out() -> None:
    """What you should hear, where, and what to do."""
    words = "The click sounds on Synth. If you hear nothing, choose another output: the set-up screen, or --out."
    assert words == click_words("Synth")


def perform(app: DrillApp, scene: Callable[[DrillApp, Pilot[int]], Awaitable[None]]) -> None:
    """Run a scene at 80x24."""

    async def run() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await scene(app, pilot)
            await pilot.press("q")

    asyncio.run(run())


@pytest.mark.live
def test_what_a_device_plays_is_seen_before_the_take(tmp_path: Path) -> None:
    """The inputs are open while you are ready; a pedal that begins takes is no hit."""
    settings = Settings("fake:", script=a_foot(60_000_000), takes=tmp_path, player=Player(controls=PEDAL))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "C4, velocity 80, on fake:" in text_of(app))

    perform(DrillApp(a_drill(), settings), scene)


@pytest.mark.live
def test_the_keyboard_of_the_computer_is_seen_and_taps(tmp_path: Path) -> None:
    """A pad of the keyboard is shown; t four times is a tempo; enter forgets taps that are not whole."""
    app = DrillApp(a_drill(bpm=100.0), Settings("keys", takes=tmp_path, start_delay_us=100_000))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("f")
        await pilot.pause(0.1)
        assert "hit 1: " in text_of(app)
        assert "on keys" in text_of(app)
        for _ in range(4):
            await pilot.press("t")
            await pilot.pause(0.25)
        await until(app, pilot, lambda: "as you tapped" in text_of(app))
        assert 150 <= tempo_of(app.drill) <= 250
        await pilot.press("t")
        assert app.tried.tapping
        await pilot.press("enter")
        await until(app, pilot, lambda: app.running is not None)
        assert not app.tried.tapping

    perform(app, scene)


@pytest.mark.live
def test_the_click_can_be_tried(tmp_path: Path) -> None:
    """c sounds two bars and says where; the bars of the screen stay where they are."""
    app = DrillApp(a_drill(), Settings("keys", "fake:", takes=tmp_path))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        assert "c test" in text_of(app)
        await pilot.press("c")
        await until(app, pilot, lambda: app.listening.now_us is not None)
        await pilot.pause(0.1)
        assert "The click sounds on fake:." in text_of(app)
        assert "ready" in text_of(app).splitlines()[0]
        await pilot.press("escape")

    perform(app, scene)


@pytest.mark.live
def test_without_an_output_the_test_says_so(tmp_path: Path) -> None:
    """Nothing can sound: that is what the player learns."""

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.press("c")
        await until(app, pilot, lambda: "listening: no output" in text_of(app))

    perform(DrillApp(a_drill(), Settings("keys", takes=tmp_path)), scene)


@pytest.mark.live
def test_an_input_that_cannot_be_opened_is_said_before_the_take(tmp_path: Path) -> None:
    """A wrong port is found while you are ready."""

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "no such pad" in text_of(app))

    perform(DrillApp(a_drill(), Settings("no such pad", takes=tmp_path)), scene)


@pytest.mark.live
def test_the_mix_is_changed_by_keys_while_playing_and_the_volumes_are_kept(tmp_path: Path) -> None:
    """Drums off, click on and softer in the middle of a take: what is sent follows, the keys say so, the volume stays."""
    what = drill_of("turn 1", click="beat:plain", tempo_bpm=180)
    script = Schedule(as_ints([]), (), (), 0)
    app = DrillApp(what, Settings("fake:", "fake:", takes=tmp_path, script=script, start_delay_us=100_000))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        assert all(part in text_of(app) for part in ("1 click on  2 drums off", ",  . drums 100"))
        await pilot.press("enter")
        await until(app, pilot, lambda: app.running is not None and app.running.now_us > 0)
        await pilot.press("2", "1", "comma", "comma")
        await until(app, pilot, lambda: all(part in text_of(app) for part in ("1 click off  2 drums on", "click 80")))
        assert app.running is not None
        at_us = app.running.now_us
        await until(app, pilot, lambda: app.running is not None and app.running.now_us > at_us + 1_500_000)
        assert app.running is not None
        journal = read_journal(app.running.journal)
        late = journal.click_due_us > at_us + 200_000
        assert {76, 77} >= set(journal.click_key[late].tolist()) != set()
        assert 36 in journal.click_key[~late]

    perform(app, scene)

    assert 80 == read_settings().volumes["click"]
