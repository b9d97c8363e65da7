"""``heeltap score``: score recorded MIDI files, one or a folder of them."""

import argparse
import sys
from pathlib import Path

from heeltap.cli.options import add_json, add_judging, add_reading, options_of, reading_of, refuse
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
    if names == args.files and len(names) == 1:
        return _one(args, names[0])
    return refuse(args, {"html": "--html"}, "writes the page of one take only") or _many(args, names)


def _one(args: argparse.Namespace, name: str) -> int:
    from heeltap.app.score.score import score_path
    from heeltap.files.result_json import to_json
    from heeltap.views.text import render

    result = score_path(name, reading_of(args), options_of(args))
    if args.html:
        from heeltap.views.html import to_html

        Path(args.html).write_text(to_html(result, command=args.command_line), encoding="utf-8")
    if args.json == "-":
        sys.stdout.write(to_json(result).decode() + "\n")
        return 0
    if args.json:
        Path(args.json).write_bytes(to_json(result, indent=True))
    sys.stdout.write(render(result, command=args.command_line))
    return 0


def _many(args: argparse.Namespace, names: list[str]) -> int:
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
    if args.json == "-":
        sys.stdout.buffer.write(b"".join(line + b"\n" for line in lines))
        sys.stdout.flush()
    else:
        sys.stdout.write("\n".join([TABLE_HEAD, *table]) + "\n")
        if args.json:
            Path(args.json).write_bytes(b"".join(line + b"\n" for line in lines))
    return 0 if failed is None else failed.exit_code
