"""``heeltap handin``: put the raw takes of a set into one file for the teacher."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_force
from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "handin",
        help="put your takes of a set into one file for the teacher",
        description="Put your takes of a set into one file and send it to your teacher. The file holds what you played, how you "
        "set it up and the names of your MIDI ports, and nothing else.",
        example='heeltap handin first-week --name "Tove Vennel"',
    )
    parser.add_argument("set", metavar="SET", help="a set file, or the name of one that comes with heeltap")
    parser.add_argument("--name", metavar="NAME", default="", help="your name, as your teacher should read it")
    parser.add_argument(
        "--out", metavar="FILE", help="the file to write (default: SET.handin or SET-NAME.handin in this folder)"
    )
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    from heeltap.app.practice.handin import hand_in, summary

    name = " ".join(args.name.split())
    out = Path(args.out) if args.out else Path(_file_name(Path(args.set).stem, name))
    done = hand_in(args.set, name=name, out=out, force=args.force)
    for line in done.warnings:
        print(safe_line(f"heeltap: {line}"), file=sys.stderr)
    print(safe_line(summary(done)))
    return 0


def _file_name(stem: str, name: str) -> str:
    """A name that every file system takes."""
    parts = ["".join(c if c.isalnum() else "-" for c in part).strip("-")[:40] for part in (stem, name)]
    return "-".join(part for part in parts if part) + ".handin"
