"""Slower, faster, simpler, again, next and the guess, on the drill screen."""

from pathlib import Path

import pytest
from textual.pilot import Pilot

from heeltap.app.drill.changes import tempo_of
from heeltap.app.drill.drill import drill_of
from heeltap.app.drill.run import Settings
from heeltap.app.takes.self_assessment import guesses
from heeltap.files.takes.folder import list_takes
from heeltap.session.session import Phase
from heeltap.tui.drill_app import DrillApp
from tests.app.test_run import a_drill, settings
from tests.tui.test_drill_app import perform, text_of, until

pytestmark = pytest.mark.live


def test_slower_faster_and_simpler_before_a_take(tmp_path: Path) -> None:
    """Each makes another drill at a whole tempo and shows its sheet; what cannot be is said in a line."""
    app = DrillApp(drill_of("anchor 2", tempo_bpm=100), Settings("keys", takes=tmp_path))
    tempi: list[float] = []

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.pause(0.1)
        for key in ("minus", "plus", "plus"):
            await pilot.press(key)
            tempi.append(round(tempo_of(app.drill), 1))
        await pilot.press("m")
        await pilot.pause(0.1)
        assert app.drill.name.startswith("anchor-backbeat")
        await pilot.press("m")
        await pilot.pause(0.1)
        assert "no grade below it" in text_of(app)
        await pilot.press("q")

    perform(app, scene, size=(160, 24))

    assert tempi == [96.0, 100.0, 104.0]


def test_slower_while_playing_keeps_the_take_and_goes_on_from_the_bar(tmp_path: Path) -> None:
    """The take up to there is kept; the next one runs at the new tempo from bar 2 on, without another key."""
    what = a_drill(bars=8, bpm=200.0)
    app = DrillApp(what, settings(what, [0.0] * 32, takes=tmp_path), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 1_400_000)
        await pilot.press("minus")
        await until(app, pilot, lambda: len(app.outcomes) == 1 and app.play is not None)
        assert 191 == round(tempo_of(app.drill), 3)
        assert tuple(range(2, 9)) == app.drill.bar_numbers
        await pilot.press("q")
        await until(app, pilot, lambda: app.return_value is not None)

    perform(app, scene)

    assert app.outcomes[0].ending == "stopped"
    assert len(list_takes(tmp_path)) >= 1


def test_the_guess_is_asked_first_and_kept(tmp_path: Path) -> None:
    """No number is on the screen before the answer; then the report begins with both."""
    what = a_drill(bars=2)
    app = DrillApp(what, settings(what, [20.0] * 8, takes=tmp_path, delay_ms=0.0), at_once=True, guess=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "early, on, or late?" in text_of(app))
        assert "On average" not in text_of(app)
        await pilot.press("e")
        await until(app, pilot, lambda: "You said: early." in text_of(app))
        assert "20 ms late" in text_of(app)
        await pilot.press("q")

    perform(app, scene)

    (kept,) = guesses(tmp_path)
    assert (kept.guess, round(kept.bias_ms or 0.0)) == ("early", 20)
    assert kept.take == list_takes(tmp_path)[0].name


def test_next_takes_up_what_the_takes_ask_for(tmp_path: Path) -> None:
    """The sheet of the next exercise, and the reason; esc goes back to the screen before."""
    app = DrillApp(a_drill(), Settings("keys", takes=tmp_path))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.pause(0.1)
        await pilot.press("x")
        await until(app, pilot, lambda: app.drill.name.startswith("anchor-backbeat"))
        await pilot.press("escape")

    perform(app, scene)

    assert app.went_back
    assert app.return_value == 0


def test_help_and_the_mouse_on_the_drill_screen(tmp_path: Path) -> None:
    """The keys of where one is, closed by any key; a click on a key presses it."""
    app = DrillApp(a_drill(), Settings("keys", takes=tmp_path))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.pause(0.1)
        y, line = next((y, row) for y, row in enumerate(text_of(app).splitlines()) if "? help" in row)
        await pilot.click(offset=(line.index("? help"), y))
        await until(app, pilot, lambda: "count in and begin" in text_of(app))
        await pilot.press("end")
        await until(app, pilot, lambda: "space and j snare" in text_of(app))
        await pilot.press("home", "x")
        await until(app, pilot, lambda: "count in and begin" not in text_of(app))
        assert app.drill.name == "quarters"
        await pilot.click(offset=(line.index("q quit"), y))

    perform(app, scene)

    assert app.return_value == 0
    assert not app.went_back


def test_the_help_scrolls_and_a_long_message_is_read_whole(tmp_path: Path) -> None:
    """On the least screen the end of the help can be reached by keys that move; a message has two lines."""
    app = DrillApp(a_drill(), Settings("keys", takes=tmp_path))

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await pilot.pause(0.1)
        await pilot.press("question_mark")
        await until(app, pilot, lambda: "more lines below" in text_of(app))
        assert "space and j snare" not in text_of(app)
        await pilot.press("pagedown", "pagedown", "pagedown")
        await until(app, pilot, lambda: "space and j snare" in text_of(app))
        await pilot.press("up")
        await until(app, pilot, lambda: "1 more line below" in text_of(app))
        await pilot.press("x")
        await pilot.press("l")
        await until(app, pilot, lambda: "(choose one on the set-up screen" in text_of(app))
        assert "or with --out)" in text_of(app)
        await pilot.resize_terminal(50, 10)
        await pilot.pause(0.1)
        await pilot.click(offset=(4, 9))
        assert app.play is None
        assert not app._busy
        await pilot.press("q")

    perform(app, scene, size=(60, 16))


def test_u_leads_from_the_report_to_measuring_the_delay(tmp_path: Path) -> None:
    """Only where heeltap does not know the delay of the gear, and not for the computer's keyboard."""
    what = a_drill(bars=2)
    unknown = DrillApp(what, settings(what, [20.0] * 8, takes=tmp_path), at_once=True)
    known = DrillApp(what, settings(what, [20.0] * 8, takes=tmp_path, delay_ms=0.0), at_once=True)

    async def measure(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "u delay" in text_of(app))
        await pilot.press("u")

    async def leave(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "tab bars" in text_of(app))
        assert "u delay" not in text_of(app)
        await pilot.press("u", "q")

    perform(unknown, measure)
    perform(known, leave)

    assert (True, 0) == (unknown.wants_delay, unknown.return_value)
    assert not known.wants_delay


def test_w_plays_the_worst_bars_in_a_loop_and_then_the_whole_again(tmp_path: Path) -> None:
    """From the report to the bars that stood out, four times, with a bar to run in; w again is the whole drill."""
    what = a_drill(bars=8)
    offsets = [0.0] * 16 + [-45.0] * 4 + [0.0] * 12
    app = DrillApp(what, settings(what, offsets, takes=tmp_path, delay_ms=0.0), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: "w worst bars" in text_of(app))
        await pilot.press("w")
        await until(app, pilot, lambda: "w whole" in text_of(app))
        assert app.drill.whole is what
        assert (5, 5) == (app.drill.bar_numbers[0], app.drill.bar_numbers[-1])
        assert 4 == app.drill.passes
        assert app.drill.run_in is not None
        assert "bar 5" in text_of(app)
        await pilot.press("w")
        await until(app, pilot, lambda: "w whole" not in text_of(app))
        assert app.drill is what
        await pilot.press("q")

    perform(app, scene)


def test_p_stops_the_click_at_once_and_counts_in_again(tmp_path: Path) -> None:
    """The screen says so; the bar is played again, and the take comes out as if there had been no pause."""
    what = a_drill(bars=4, bpm=240.0)
    app = DrillApp(what, settings(what, [0.0] * 16, takes=tmp_path, delay_ms=0.0), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 1_300_000)
        await pilot.press("p")
        await until(app, pilot, lambda: "paused in bar 2" in text_of(app) and "p go on" in text_of(app))
        await pilot.press("p")
        await until(app, pilot, lambda: "count-in to bar 2" in text_of(app))
        await until(app, pilot, lambda: app.state.phase is Phase.PLAYING)
        await until(app, pilot, lambda: "Report" in text_of(app))
        await pilot.press("q")

    perform(app, scene)

    assert ["played"] == [outcome.ending for outcome in app.outcomes]


def test_o_leaves_bars_out_while_the_click_goes_on(tmp_path: Path) -> None:
    """Strokes there are not judged; pressed again it judges, and the take plays to its end."""
    what = a_drill(bars=6, bpm=240.0)
    app = DrillApp(what, settings(what, [0.0] * 24, takes=tmp_path, delay_ms=0.0), at_once=True)

    async def scene(app: DrillApp, pilot: Pilot[int]) -> None:
        await until(app, pilot, lambda: app.play is not None and app.play.now_us > 1_300_000)
        await pilot.press("o")
        await until(app, pilot, lambda: "left out" in text_of(app).splitlines()[0])
        now_us = app.play.now_us
        await until(app, pilot, lambda: app.play.now_us > now_us + 1_000_000)
        await pilot.press("o")
        await until(app, pilot, lambda: app.state.phase is Phase.PLAYING)
        await until(app, pilot, lambda: "Report" in text_of(app))
        await pilot.press("q")

    perform(app, scene)

    (outcome,) = app.outcomes
    assert "played" == outcome.ending
    assert outcome.result is not None
    assert any(text.startswith("You left bars ") for text in outcome.result.warnings)
    assert not any("heard nothing" in text for text in outcome.result.warnings)
    assert 8 <= outcome.result.overall.n <= 21
