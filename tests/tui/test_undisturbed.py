"""Whatever happens to the screen and the route while a known take is played, its result is the same."""

import asyncio
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from heeltap.app.drill.run import Settings
from heeltap.model.messages import Schedule, merge
from heeltap.model.result import Result
from heeltap.session import session
from heeltap.tui.drill_app import DrillApp
from tests.app.test_run import a_drill, settings

pytestmark = pytest.mark.live

_BARS = 76
"""A minute: 4 beats of 200 ms a bar."""
_SIZES = ((80, 24), (200, 60), (40, 10), (120, 40), (61, 17))
_SAFE = ("n", "question_mark", "up", "down", "pagedown", "home", "x", "tab", "z", "1", "f5", "left", "ctrl+a")
"""Keys that end nothing: what is typed at random. ``x`` and ``tab`` mean nothing while a take is played."""


def played(what_settings: Settings, *, disturbed: bool, rng: np.random.Generator) -> Result:
    """The result of the take on a screen that is left alone, or is not."""
    app = DrillApp(a_drill(bars=_BARS), what_settings, at_once=True)

    async def run() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(6000):
                if app.outcomes:
                    break
                play = app.play  # the take may end while a key is pressed
                if disturbed and play is not None:
                    await pilot.press(*rng.choice(_SAFE, 3).tolist())
                    told = rng.integers(12)
                    if told < 2:
                        play.ask((session.Lost, session.Back)[told](play.now_us, 0))
                    await pilot.resize_terminal(*_SIZES[int(rng.integers(len(_SIZES)))])
                await pilot.pause(0.05)
            await pilot.press("q") if not app.help_screen.is_open else await pilot.press("z", "q")

    asyncio.run(run())
    (outcome,) = app.outcomes
    assert outcome.ending == "played"
    assert outcome.result is not None
    return outcome.result


def flood(length_us: int) -> Schedule:
    """A thousand channel aftertouch messages a second."""
    at = np.arange(0, length_us, 1000, dtype=np.int64)
    messages = tuple(bytes((0xD0, int(value))) for value in np.arange(at.size) % 128)
    return Schedule(at, messages, ("",) * at.size, length_us)


@pytest.mark.slow
def test_resizing_typing_and_a_flood_change_nothing(tmp_path: Path, rng: np.random.Generator) -> None:
    """The same script, once in peace, once amid 1,000 aftertouch messages a second: note for note the same offsets.

    The screen is also told, now and then, that the input went or came back. The scripted port lies in the engine's process
    and cannot be pulled from here; `tests/live` does that, and what a real loss leaves out of a take is tested there.
    """
    what = a_drill(bars=_BARS)
    offsets = rng.normal(0.0, 12.0, 4 * _BARS).round(1).tolist()
    calm = settings(what, offsets, takes=tmp_path / "calm")
    assert calm.script is not None
    end_us = int(what.plan.at_us[-1]) + 500_000
    loud = replace(calm, script=merge(calm.script, flood(end_us)), takes=tmp_path / "loud")

    first = played(calm, disturbed=False, rng=rng)
    second = played(loud, disturbed=True, rng=rng)

    assert first.counts.planned == 4 * _BARS
    assert first.notes == second.notes
    assert first.overall == second.overall
