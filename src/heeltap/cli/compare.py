"""``heeltap compare``: which take is better, section by section, and what to play again."""

import argparse
import sys
from typing import Any

from heeltap.cli.parser import lean, milliseconds, positive

__all__ = ["add", "run"]


def add(commands: Any) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "compare",
        help="compare takes of one part",
        description="Compare takes of one part: which one to use, section by section, what to play again, and whether you get "
        "better.",
        example="heeltap compare take-1.mid take-2.mid --plan song.mid --part keys",
    )
    parser.add_argument(
        "takes", nargs="+", metavar="TAKE", help="MIDI files or take folders, in the order in which you played them"
    )
    parser.add_argument("--part", help="the part to compare: its number, 'track 2', 'channel 10', or its name")
    parser.add_argument("--plan", metavar="FILE", help="what you meant to play: an exercise (.toml) or a MIDI file")
    parser.add_argument("--sections", metavar="TEXT", help="name the sections by their first bars: 'intro:1 verse:5'")
    parser.add_argument(
        "--lean",
        type=lean,
        default=0.0,
        metavar="MS",
        help="where you aimed: 15 is 15 ms behind the click, or auto (default: 0)",
    )
    parser.add_argument(
        "--pocket", type=positive, metavar="MS", help="how far from there a stroke is still in the pocket"
    )
    parser.add_argument(
        "--delay", type=milliseconds, metavar="MS", help="the delay of your gear, if you know it (default: not known)"
    )


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    from heeltap.app.score.compare import compare_takes
    from heeltap.app.score.score import Options
    from heeltap.views.comparison import render_comparison

    found = compare_takes(
        args.takes,
        part=args.part,
        plan=args.plan,
        sections=args.sections,
        options=Options(lean_ms=args.lean, pocket_ms=args.pocket, delay_ms=args.delay),
    )
    text = render_comparison(
        found.names, found.comparison, found.replay, delay_known=found.delay_known, command=args.command_line
    )
    sys.stdout.write(text)
    return 0
