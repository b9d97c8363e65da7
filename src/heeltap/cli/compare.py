"""``heeltap compare``: which take to use, section by section, and whether you get better."""

import argparse
import sys

from heeltap.cli.options import add_judging, add_reading, options_of, reading_of
from heeltap.cli.parser import Commands

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
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
    add_reading(parser, "compare")
    add_judging(parser)


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    from heeltap.app.score.compare import compare_takes
    from heeltap.views.comparison import render_comparison

    found = compare_takes(args.takes, reading_of(args), options_of(args))
    text = render_comparison(
        found.names,
        found.comparison,
        found.replay,
        delay_known=found.delay_known,
        against=found.against,
        command=args.command_line,
    )
    sys.stdout.write(text)
    return 0
