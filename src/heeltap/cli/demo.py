"""``heeltap demo``: watch a simulated player drill, then read the report on a take of a song. It needs no hardware."""

import argparse
import importlib
import sys
from typing import TYPE_CHECKING

from heeltap.cli.terminal import can_draw

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill
    from heeltap.app.drill.run import Settings

from heeltap.cli.options import add_seed, seed_of
from heeltap.cli.parser import Commands

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "demo",
        help="see it work, without a device",
        description="Watch a simulated player drill an exercise, then read the report on a take of an invented band, and "
        "the answer on all takes of its song. "
        "You need no device and no sound, and heeltap keeps nothing.",
        example="heeltap demo",
    )
    parser.add_argument("--no-screen", action="store_true", help="print plain lines instead of drawing a screen")
    add_seed(parser, "gives another simulated player")


def run(args: argparse.Namespace) -> int:
    """Drill, then score."""
    import tempfile
    from dataclasses import replace
    from pathlib import Path

    from heeltap.app.drill.demo import demo_drill, demo_song, demo_take
    from heeltap.views.song_text import song_text
    from heeltap.views.text import render

    drill, settings = demo_drill(seed=seed_of(args))
    drawn = not args.no_screen and can_draw()
    with tempfile.TemporaryDirectory(prefix="heeltap-demo-", ignore_cleanup_errors=True) as folder:
        settings = replace(settings, takes=Path(folder))
        code = _on_screen(drill, settings) if drawn else _in_lines(drill, settings)
    if code == 0:
        print("\nA recorded take of the invented band's song, against the part as written:\n")
        sys.stdout.write(render(demo_take()))
        print("\nAnd all eight takes of that part, as heeltap song answers:\n")
        sys.stdout.write(song_text(demo_song()))
    return code


def _on_screen(drill: "Drill", settings: "Settings") -> int:
    """The drill on the drawn screen, then its result as text."""
    from heeltap.files.result_json import from_json
    from heeltap.views.text import render

    kept = settings.takes / "result.json"
    screen = importlib.import_module("heeltap.tui.running")
    code: int = screen.run_drill(drill, settings, json=str(kept), at_once=True, leave_at_end=True, kept=False)
    if kept.exists():
        sys.stdout.write(render(from_json(kept.read_bytes())))
    return code


def _in_lines(drill: "Drill", settings: "Settings") -> int:
    """The drill as plain lines."""
    from heeltap.cli.lines import play_in_lines

    return play_in_lines(drill, settings, kept=False)
