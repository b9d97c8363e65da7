"""``heeltap history``: list your takes, write them to a file, say what comes next."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.left_behind import finish_left_behind
from heeltap.cli.options import add_force, refuse
from heeltap.cli.parser import Commands
from heeltap.cli.progress import progress
from heeltap.files.paths import takes_dir
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]

_SHOWN = 40
"""Takes that a list shows unless asked for more: two screens."""


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "history",
        help="list your takes with their figures",
        description="List your takes by day, newest last, or ask what to play next, or write them all to a file.",
        example="heeltap history export takes.csv",
    )
    parser.add_argument(
        "what",
        nargs="?",
        choices=("list", "next", "trend", "rebuild", "export"),
        default="list",
        metavar="WHAT",
        help="list; next: what to play next and why; trend: whether you get better, exercise by exercise; rebuild: score every "
        "take folder again and make a new index; export FILE: write them to a file (default: list)",
    )
    parser.add_argument("file", nargs="?", metavar="FILE", help="for export: a name that ends in .csv or .json")
    parser.add_argument("--all", action="store_true", help=f"list every take, not only the newest {_SHOWN}")
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """List, export or rebuild."""
    if (args.what == "export") != (args.file is not None):
        wrong = "export needs a FILE" if args.what == "export" else f"{args.what} takes no FILE"
        print(f"heeltap history: {wrong} (see heeltap history --help)", file=sys.stderr)
        return 2
    if args.what != "export" and (code := refuse(args, {"force": "--force"}, "is for export")):
        return code
    if args.what != "list" and (code := refuse(args, {"all": "--all"}, "is for the list")):
        return code
    finish_left_behind(takes_dir())
    if args.what == "rebuild":
        return _rebuild()
    if args.what == "next":
        return _next()
    if args.what == "trend":
        return _trend()
    return _export(Path(args.file), force=args.force) if args.what == "export" else _list(None if args.all else _SHOWN)


def _list(last: int | None) -> int:
    from heeltap.app.takes.history import history
    from heeltap.views.history import render_history

    found = history(last=last, watched=progress)
    _warn(found.warnings)
    sys.stdout.write(render_history(found.takes, total=found.count))
    if found.stale:
        print(
            "Another version of heeltap computed some of these figures; heeltap history rebuild scores every take again.",
            file=sys.stderr,
        )
    return 0


def _next() -> int:
    from heeltap.app.practice.advise import next_exercise

    advice = next_exercise()
    print(advice.text)
    if advice.exercise:
        print(safe_line(f"heeltap drill {advice.exercise}"))
    return 0


def _trend() -> int:
    from heeltap.app.takes.history import history
    from heeltap.app.takes.trend import trends
    from heeltap.views.trend import trend_text

    found = history(watched=progress)
    _warn(found.warnings)
    sys.stdout.write(trend_text(trends(found.takes)))
    return 0


def _rebuild() -> int:
    from heeltap.app.takes.history import rebuild
    from heeltap.wording import count

    made = rebuild(watched=progress)
    _warn(made.warnings)
    print(f"The history holds {count(made.count, 'take')}.", file=sys.stderr)
    return 0


def _export(path: Path, *, force: bool) -> int:
    from heeltap.app.takes.history import history
    from heeltap.views.history import export
    from heeltap.wording import count

    found = history(watched=progress)
    _warn(found.warnings)
    export(path, found.takes, force=force)
    print(safe_line(f"{path}: {count(len(found.takes), 'take')}"), file=sys.stderr)
    return 0


def _warn(lines: tuple[str, ...]) -> None:
    """What was odd, on stderr."""
    for line in lines:
        print(safe_line(f"heeltap: {line}"), file=sys.stderr)
