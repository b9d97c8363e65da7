"""``heeltap class``: score what a class handed in and put it on one page. (``class`` is a word of Python's.)"""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_force
from heeltap.cli.parser import Commands

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "class",
        help="a page for the teacher from a folder of hand-ins",
        description="Read every hand-in of a folder, score the raw takes again, and say who did what and what each student needs "
        "next. heeltap names every file that it cannot use, with the reason.",
        example="heeltap class monday --set week3.toml --html monday.html",
    )
    parser.add_argument(
        "folder", metavar="FOLDER", help="the folder with the hand-ins (files ending in .handin or .zip)"
    )
    parser.add_argument(
        "--set",
        dest="set_name",
        metavar="SET",
        help="the set that you gave out (default: the one that comes with heeltap and fits)",
    )
    parser.add_argument("--html", metavar="FILE", help="write the page as HTML, too")
    parser.add_argument("--csv", metavar="FILE", help="write a table for a spreadsheet, too")
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Read, print, write."""
    from heeltap.app.practice.classroom import ENDINGS, read_class
    from heeltap.cli.output import save
    from heeltap.cli.progress import progress
    from heeltap.views.classroom import class_csv, class_html, class_text

    room = read_class(Path(args.folder), set_name=args.set_name, watch=lambda paths: progress(paths, len(paths)))
    sys.stdout.write(class_text(room))
    inputs = [path for path in Path(args.folder).iterdir() if path.name.lower().endswith(ENDINGS)]
    if args.set_name:
        inputs.append(Path(args.set_name))
    if args.html:
        save(args, args.html, class_html(room, command=args.command_line).encode(), inputs)
    if args.csv:
        save(args, args.csv, class_csv(room), inputs)
    return 0
