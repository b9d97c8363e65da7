"""``heeltap simplify``: make a hard part easier, in four steps."""

import argparse
import sys

from heeltap.cli.options import add_force, add_metre, add_part, add_pattern, add_tempo
from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "simplify",
        help="make a hard part easier, in four steps",
        description="Make four parts from a real one, each nearer to it: the strong beats with their chords, all beats, the "
        "eighths as well, the whole part.",
        example="heeltap simplify song.mid --part keys --out easier",
    )
    parser.add_argument("file", metavar="PART.mid", help="a MIDI file that somebody wrote or played to a click")
    add_part(parser, "simplify")
    add_pattern(parser)
    add_tempo(parser, "as in the file", "quarter notes a minute of the click")
    add_metre(parser, "as in the file")
    parser.add_argument("--out", metavar="FOLDER", help="write the four parts into this folder as MIDI files")
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Print the four forms and write them where asked."""
    from heeltap.app.practice.simplify import simplify_file, write_simpler
    from heeltap.views.simplified_text import simpler_text

    parts = simplify_file(args.file, args.part, tempo_bpm=args.tempo, metre=args.metre, pattern=args.pattern)
    for warning in parts.warnings:
        print(safe_line(f"heeltap: {warning}"), file=sys.stderr)
    sys.stdout.write(simpler_text(parts))
    if args.out is not None:
        for path in write_simpler(parts, args.out, inputs=[args.file], force=args.force):
            print(safe_line(f"written: {path}"), file=sys.stderr)
    return 0
