"""``heeltap make``: print an exercise as you count it, or write it as TOML, MIDI or sound."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_force, add_metre, add_seed, add_tempo, refuse, seed_of
from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]

_OF_AN_EXERCISE = {
    "metre": "--metre",
    "seed": "--seed",
    "tempo": "--tempo",
    "bars": "--bars",
    "out": "--out",
    "force": "--force",
}
"""Options that mean nothing for the list of all families."""


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "make",
        help="show an exercise, or all of them",
        description="Show an exercise as you would count it, or write it to a file. Without a family heeltap lists every "
        "exercise with its aim.",
        example="heeltap make anchor pillars --metre 3/4 --out anchor.mid",
    )
    parser.add_argument("family", nargs="?", metavar="FAMILY", help="anchor, split or turn")
    parser.add_argument(
        "grade", nargs="?", default="1", metavar="GRADE", help="name or number of the grade (default: the first)"
    )
    add_metre(parser, "4/4")
    add_seed(parser, "gives another exercise of the grade")
    add_tempo(parser, "as in the grade")
    parser.add_argument("--bars", type=int, metavar="N", help="how many bars (default: as in the grade)")
    parser.add_argument(
        "--out",
        metavar="FILE",
        help="write it to this file instead of the screen: .toml, .mid, .wav (the click) or .txt",
    )
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Make it and print or write it."""
    from heeltap.app.practice.make_exercise import course_text, exercise_text, make_exercise, write_exercise

    if args.family is None:
        wrong = refuse(args, _OF_AN_EXERCISE, "needs a FAMILY")
        if not wrong:
            sys.stdout.write(course_text())
        return wrong
    exercise = make_exercise(
        args.family,
        args.grade,
        metre=args.metre or "4/4",
        seed=seed_of(args),
        tempo_bpm=args.tempo,
        bars=args.bars,
    )
    if args.out is None:
        sys.stdout.write(exercise_text(exercise))
        return 0
    write_exercise(exercise, Path(args.out), force=args.force)
    print(safe_line(f"{args.out}: {exercise.title}, {len(exercise.bars)} bars"), file=sys.stderr)
    return 0
