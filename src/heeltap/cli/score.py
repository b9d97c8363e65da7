"""``heeltap score``: score recorded MIDI files, one or a folder of them."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from heeltap.cli.options import (
    add_force,
    add_json,
    add_judging,
    add_metre,
    add_reading,
    options_of,
    reading_of,
    refuse,
)
from heeltap.cli.output import RESULT, check, save, save_json
from heeltap.cli.parser import Commands
from heeltap.errors import HeeltapError
from heeltap.safe_text import safe_line

if TYPE_CHECKING:
    from heeltap.model.result import Result

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "score",
        help="score recorded MIDI files",
        description="Score recorded MIDI: whether you are early or late, how wide your strokes spread, and where.",
        example="heeltap score take.mid --plan song.mid --part keys --html report.html",
    )
    parser.add_argument("files", nargs="*", metavar="FILE", help="MIDI files, or a folder of them")
    parser.add_argument(
        "--onsets",
        metavar="TEXT",
        help="score the onsets in this text file, a line each (12.345 seconds, or 12:2.5 for bar and beat), of any instrument; "
        "FILE is then the song that they belong to, or leave it out and name the --tempo",
    )
    add_metre(parser, "as in the file; for onsets without a song 4/4")
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

    if args.onsets is not None:
        return _onsets(args)
    if wrong := refuse(args, {"metre": "--metre"}, "is for --onsets: a MIDI file has a metre of its own"):
        return wrong
    if not args.files:
        print("heeltap score: name a MIDI file, or onsets with --onsets (see heeltap score --help)", file=sys.stderr)
        return 2
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

    return _tell(args, score_path(name, reading_of(args), options_of(args)), inputs)


def _onsets(args: argparse.Namespace) -> int:
    """Score onsets from a text file, beside at most one song."""
    from heeltap.app.score.onsets import score_onsets

    if len(args.files) > 1:
        print("heeltap score: --onsets goes with one song (see heeltap score --help)", file=sys.stderr)
        return 2
    inputs = [Path(args.onsets), *_inputs(args.files, args.plan)]
    check(args, args.json, RESULT, inputs)
    song = args.files[0] if args.files else None
    return _tell(args, score_onsets(args.onsets, song, reading_of(args), options_of(args), metre=args.metre), inputs)


def _tell(args: argparse.Namespace, result: "Result", inputs: list[Path]) -> int:
    """Print and write one result."""
    from heeltap.files.result_json import to_json
    from heeltap.views.text import render

    if args.html:
        from heeltap.views.html import to_html

        save(args, args.html, to_html(result, command=args.command_line).encode(), inputs)
    save_json(args, to_json(result, indent=args.json != "-"), inputs)
    if args.json != "-":
        sys.stdout.write(render(result, command=args.command_line))
    return 0


def _many(args: argparse.Namespace, names: list[str], inputs: list[Path]) -> int:
    """Score several; each line is written as its file is done, the JSON file whole, also when somebody breaks off."""
    from heeltap.app.score.batch import score_files
    from heeltap.cli.progress import progress
    from heeltap.files.result_json import to_json
    from heeltap.views.text import TABLE_HEAD, one_line

    lines: list[bytes] = []
    failed: HeeltapError | None = None
    head = "" if args.json == "-" else f"{TABLE_HEAD}\n"
    work = score_files(names, reading_of(args), options_of(args), processes=args.jobs)
    try:
        for name, outcome in progress(work, len(names)):
            if isinstance(outcome, HeeltapError):
                print(f"heeltap: {outcome}", file=sys.stderr)
                failed = failed or outcome
                continue
            line = to_json(outcome) + b"\n"
            if args.json == "-":
                save_json(args, line)
            else:
                lines.append(line)
                sys.stdout.write(f"{head}{one_line(outcome)}  {safe_line(Path(name).name)}\n")
                head = ""
            sys.stdout.flush()
    finally:
        if lines:
            save_json(args, b"".join(lines), inputs)
    return 0 if failed is None else failed.exit_code
