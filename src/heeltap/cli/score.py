"""``heeltap score``: score recorded MIDI files, one or a folder of them."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_force, add_json, add_judging, add_reading, options_of, reading_of, refuse
from heeltap.cli.output import RESULT, check, save, save_json
from heeltap.cli.parser import Commands
from heeltap.errors import HeeltapError

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "score",
        help="score recorded MIDI files",
        description="Score recorded MIDI: whether you are early or late, how wide your strokes spread, and where.",
        example="heeltap score take.mid --plan song.mid --part keys --html report.html",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="MIDI files, or a folder of them")
    add_reading(parser, "score")
    add_judging(parser)
    add_json(parser)
    add_force(parser)
    parser.add_argument("--html", metavar="FILE", help="write the report as a page with its chart, too")
    parser.add_argument(
        "--jobs",
        type=int,
        default=0,
        metavar="N",
        help="how many processes score a folder (default: one for each core)",
    )


def run(args: argparse.Namespace) -> int:
    """Score what was named; returns the exit code."""
    from heeltap.app.score.batch import midi_files

    names = midi_files(args.files)
    one = names == args.files and len(names) == 1
    if not one and (wrong := refuse(args, {"html": "--html"}, "writes the page of one take only")):
        return wrong
    inputs = _inputs(names, args.plan)
    check(args, args.json, RESULT, inputs)
    return _one(args, names[0], inputs) if one else _many(args, names, inputs)


def _inputs(names: list[str], plan: str | None) -> list[Path]:
    """Every file that is read: never written over."""
    from heeltap.files.takes.folder import files_of

    return [path for name in names for path in files_of(Path(name))] + ([] if plan is None else [Path(plan)])


def _one(args: argparse.Namespace, name: str, inputs: list[Path]) -> int:
    from heeltap.app.score.score import score_path
    from heeltap.files.result_json import to_json
    from heeltap.views.text import render

    result = score_path(name, reading_of(args), options_of(args))
    if args.html:
        from heeltap.views.html import to_html

        save(args, args.html, to_html(result, command=args.command_line).encode(), inputs)
    save_json(args, to_json(result, indent=args.json != "-"), inputs)
    if args.json != "-":
        sys.stdout.write(render(result, command=args.command_line))
    return 0


def _many(args: argparse.Namespace, names: list[str], inputs: list[Path]) -> int:
    from heeltap.app.score.batch import score_files
    from heeltap.cli.progress import progress
    from heeltap.files.result_json import to_json
    from heeltap.views.text import TABLE_HEAD, one_line

    lines: list[bytes] = []
    table: list[str] = []
    failed: HeeltapError | None = None
    for name, outcome in progress(
        score_files(names, reading_of(args), options_of(args), processes=args.jobs), len(names)
    ):
        if isinstance(outcome, HeeltapError):
            print(f"heeltap: {outcome}", file=sys.stderr)
            failed = failed or outcome
            continue
        lines.append(to_json(outcome))
        table.append(f"{one_line(outcome)}  {Path(name).name}")
    if args.json != "-":
        sys.stdout.write("\n".join([TABLE_HEAD, *table]) + "\n")
    if lines:
        save_json(args, b"".join(line + b"\n" for line in lines), inputs)
    return 0 if failed is None else failed.exit_code
