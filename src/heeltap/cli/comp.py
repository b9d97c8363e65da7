"""``heeltap comp``: put the best stretches of a song's takes together."""

import argparse
import sys

from heeltap.cli.options import add_force
from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

__all__ = ["add", "run"]


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "comp",
        help="put the best stretches of a song's takes together",
        description="Choose the best take for each section of a song, and write them as one MIDI file. Every note stays as you "
        "played it; heeltap changes the take at a bar line across which nothing is held, where there is one.",
        example="heeltap comp harbour --out harbour-comp.mid",
    )
    parser.add_argument("song", metavar="SONG", help="the name of a song in this folder, or its file (.song.toml)")
    parser.add_argument("takes", nargs="*", metavar="TAKE", help="takes (default: all of the song's folder)")
    parser.add_argument("--out", metavar="FILE", help="the MIDI file to write (default: SONG-comp.mid in this folder)")
    parser.add_argument("--joins", type=_joins, metavar="N", help="change the take at most so often (default: 6)")
    parser.add_argument("--csv", metavar="FILE", help="write a table of what came from where, too")
    add_force(parser)


def _joins(text: str) -> int:
    """A number of joins, 0 or more."""
    if not (text.isascii() and text.isdecimal() and int(text) <= 999):
        raise argparse.ArgumentTypeError(f"{text!r} must be a number from 0")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Choose, write, say what came from where."""
    from heeltap.app.song.answer import answer
    from heeltap.app.song.comp import MOST_JOINS, comp_csv, comp_midi, make_comp
    from heeltap.app.song.open_song import open_song
    from heeltap.app.song.takes import takes_of
    from heeltap.cli.output import save
    from heeltap.errors import InputFileError
    from heeltap.views.song_text import comp_text
    from heeltap.wording import count

    opened = open_song(args.song)
    takes, problems = takes_of(opened, args.takes)
    for line in problems:
        print(safe_line(f"heeltap: {line}"), file=sys.stderr)
    found = answer(opened, takes) if len(takes) > 1 else None
    if found is None:
        raise InputFileError(args.song, f"{count(len(takes), 'take')} that can be used", "two or more")
    made = make_comp(opened, takes, found, MOST_JOINS if args.joins is None else args.joins)
    path, inputs = args.out or f"{opened.song.name}-comp.mid", [*opened.files, *(take.path for take in takes)]
    save(args, path, comp_midi(opened, made), inputs)
    if args.csv:
        save(args, args.csv, comp_csv(made, takes), inputs)
    sys.stdout.write(comp_text(made, found.names, path))
    return 3 if problems else 0
