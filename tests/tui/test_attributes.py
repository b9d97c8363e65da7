"""Nothing is said by colour: what reaches the terminal are attributes only, and names never become markup."""

import asyncio
from datetime import datetime
from pathlib import Path

import pytest

from heeltap.devices.systems import PortName
from heeltap.tui.lines_widget import _STYLES
from heeltap.tui.menu_app import MenuApp

pytestmark = pytest.mark.live


def test_roles_differ_without_colour() -> None:
    """Each role has weight, reverse or underline and no colour of its own; the chosen line is unlike every other."""
    assert all(style.color is None and style.bgcolor is None for style in _STYLES.values())
    assert _STYLES["now"].reverse
    assert _STYLES["out"].underline
    assert not any(style.reverse for role, style in _STYLES.items() if role != "now")


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_picture_of_the_start_holds_every_word(
    size: tuple[int, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the terminal would show it, drawn as SVG: the chosen line is reversed, the port's name is text."""
    names = ([PortName("Pad [red]x[/red]", "Pad [red]x[/red]")], [])
    monkeypatch.setattr("heeltap.app.route.ports.list_ports", lambda: names)
    app = MenuApp(takes=tmp_path, now=lambda: datetime.fromisoformat("2026-03-04T18:05:00+01:00"))

    async def run() -> str:
        async with app.run_test(size=size) as pilot:
            for _ in range(200):
                if app.shown.today is not None:
                    break
                await pilot.pause(0.05)
            await pilot.pause(0.1)
            return app.export_screenshot()

    picture = asyncio.run(run()).replace("&#160;", " ")

    assert "Pad [red]x[/red]" in picture
    assert "anchor backbeat at 96 bpm: Two and four" in picture
    assert "none: the click is only seen" in picture
