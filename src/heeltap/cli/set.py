"""``heeltap set``: begin a teacher's set, check it, show it, print it."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_force, refuse
from heeltap.cli.parser import Commands
from heeltap.errors import SetFileError
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]

_ACTIONS = ("new", "check", "show", "sheet")


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "set",
        help="write, check, show or print a teacher's set",
        description="A set is a file that a teacher writes: exercises in order, their tempi, and when each counts as done.",
        epilog="new FILE writes an example that you change; check FILE lists every mistake at once; show SET says what the set "
        "asks for (without SET: which sets come with heeltap); sheet SET --out FILE makes a sheet to put beside the keyboard, "
        ".html or .txt.",
        example="heeltap set show first-week",
    )
    parser.add_argument("action", choices=_ACTIONS, metavar="ACTION", help="new, check, show or sheet")
    parser.add_argument("set", nargs="?", metavar="SET", help="a set file, or the name of one that comes with heeltap")
    parser.add_argument(
        "--out", metavar="FILE", help="for sheet: a name that ends in .html or .txt (default: plain text on the screen)"
    )
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Do one of the four."""
    if args.action in ("check", "sheet") and args.set is None:
        print(f"heeltap set {args.action}: name a set (see heeltap set --help)", file=sys.stderr)
        return 2
    if args.action != "sheet" and (code := refuse(args, {"out": "--out", "force": "--force"}, "is for the sheet")):
        return code
    try:
        return {"new": _new, "check": _check, "show": _show, "sheet": _sheet}[args.action](args)
    except SetFileError as error:
        if args.set is None or not error.mistakes:
            raise
        for mistake in error.mistakes:
            print(safe_line(f"{args.set}: {mistake}"), file=sys.stderr)
        return error.exit_code


def _new(args: argparse.Namespace) -> int:
    from heeltap.app.practice.sets import new_set

    path = Path(args.set or "my-set.toml")
    new_set(path)
    line = f"{path}: an example with a comment at every key. Change it, then: heeltap set check {path}"
    print(safe_line(line))
    return 0


def _check(args: argparse.Namespace) -> int:
    from heeltap.app.practice.sets import minutes_of, open_set

    opened = open_set(args.set)
    minutes = max(1, round(minutes_of(opened)))
    print(safe_line(f"{args.set}: no mistake; {len(opened.works)} exercises, {minutes} minutes of playing"))
    print(f"fingerprint {opened.fingerprint}")
    return 0


def _show(args: argparse.Namespace) -> int:
    from heeltap.app.practice.sets import open_set
    from heeltap.views.set_text import set_text, sets_text

    sys.stdout.write(sets_text() if args.set is None else set_text(open_set(args.set)))
    return 0


def _sheet(args: argparse.Namespace) -> int:
    from heeltap.app.practice.sets import open_set
    from heeltap.views.practice_sheet import sheet_text
    from heeltap.views.set_text import sheet_of, write_sheet

    opened = open_set(args.set)
    if args.out is None:
        sys.stdout.write(sheet_text(sheet_of(opened)))
        return 0
    write_sheet(opened, args.out, force=args.force)
    print(safe_line(f"{args.out}: {opened.set.title}"), file=sys.stderr)
    return 0
