"""``heeltap score``: score recorded MIDI files, one or a folder of them."""

import argparse
import sys
from pathlib import Path
from typing import Any

from heeltap.cli.parser import lean, milliseconds, positive
from heeltap.errors import HeeltapError

__all__ = ["add", "run"]

_GRIDS = (8, 12, 16, 24)


def add(commands: Any) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "score",
        help="score recorded MIDI files",
        description="Score recorded MIDI: whether you are early or late, how wide your strokes spread, and where.",
        example="heeltap score take.mid --plan song.mid --part keys --html report.html",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="MIDI files, or a folder of them")
    parser.add_argument("--part", help="the part to score: its number, 'track 2', 'channel 10', or its name")
    parser.add_argument("--pattern", type=int, metavar="N", help="the pattern of a format 2 file, from 1")
    parser.add_argument("--plan", metavar="FILE", help="what you meant to play: an exercise (.toml) or a MIDI file")
    parser.add_argument(
        "--leader",
        metavar="PART",
        help="measure against kick and snare of this part instead of the click; drums finds it",
    )
    parser.add_argument(
        "--grid",
        type=int,
        choices=_GRIDS,
        help="take the nearest of so many slots in a whole note, instead of asking what you meant",
    )
    parser.add_argument("--sections", metavar="TEXT", help="name the sections by their first bars: 'intro:1 verse:5'")
    parser.add_argument(
        "--lean",
        type=lean,
        default=0.0,
        metavar="MS",
        help="where you aimed: 15 is 15 ms behind the click, or auto (default: 0)",
    )
    parser.add_argument(
        "--pocket",
        type=positive,
        metavar="MS",
        help="how far from there a stroke is still in the pocket (default: by the time between your strokes)",
    )
    parser.add_argument(
        "--delay", type=milliseconds, metavar="MS", help="the delay of your gear, if you know it (default: not known)"
    )
    parser.add_argument(
        "--retrigger",
        type=milliseconds,
        default=30.0,
        metavar="MS",
        help="count a second note of one pad or key within this time as a double trigger (default: 30; 0: never)",
    )
    parser.add_argument("--split", metavar="KEY", help="the lowest key of your right hand: C4 or a number")
    parser.add_argument("--json", metavar="FILE", help="write the result as JSON, too; - prints JSON and nothing else")
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
    return _many(args, names)


def _options(args: argparse.Namespace) -> dict[str, Any]:
    return {
        "part": args.part,
        "plan": args.plan,
        "leader": args.leader,
        "grid": args.grid,
        "lean_ms": args.lean,
        "pocket_ms": args.pocket,
        "delay_ms": args.delay,
        "retrigger_ms": args.retrigger,
        "sections": args.sections,
        "pattern": args.pattern,
        "split": args.split,
    }


def _one(args: argparse.Namespace, name: str) -> int:
    from heeltap.app.takes.finish_take import score_path
    from heeltap.files.result_json import to_json
    from heeltap.views.text import render

    result = score_path(name, **_options(args))
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
    for name, outcome in progress(score_files(names, _options(args), processes=args.jobs), len(names)):
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
