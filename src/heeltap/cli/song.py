"""``heeltap song``: begin a song file, or ask for the whole answer on a song's takes."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from heeltap.cli.options import add_force, add_json, refuse
from heeltap.cli.parser import Commands
from heeltap.safe_text import safe_line

if TYPE_CHECKING:
    from heeltap.app.song.open_song import OpenSong

__all__ = ["add", "run"]

_OF_THE_ANSWER = {"json": "--json", "csv": "--csv", "page": "--page", "watch": "--watch"}


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "song",
        help="which take of a song to use, which bars to play again",
        description="Point at a song and its takes, and get the whole answer: which take to use, which bars to play again, "
        "what comes back in your takes, what to do next. heeltap measures against the song's own drums.",
        epilog="'new' writes a song file with what heeltap found, as guesses to change: drums, part, sections, the folder of "
        "your takes. Afterwards name the song, and takes if you do not want all of the folder: files, folders, files with "
        "one take a track, clips ('keys bars 21-28.mid'), punch-ins.",
        example="heeltap song new harbour.mid --part keys",
    )
    parser.add_argument(
        "song", metavar="SONG", help="'new', the name of a song in this folder, or its file (.song.toml)"
    )
    parser.add_argument("takes", nargs="*", metavar="TAKE", help="takes, or after 'new' the song's MIDI file")
    parser.add_argument(
        "--part", help="with 'new': the part that you play: its number, 'track 2', 'channel 10', or its name"
    )
    parser.add_argument(
        "--out", metavar="FILE", help="with 'new': the song file (default: SONG.song.toml beside the song)"
    )
    parser.add_argument(
        "--watch", action="store_true", help="answer again whenever a new take appears in the song's folder"
    )
    parser.add_argument("--csv", metavar="FILE", help="write a table of every bar and take, too")
    parser.add_argument(
        "--page",
        metavar="FILE",
        help="write one sheet of paper for the song, too: .html (print it from your browser), .pdf or .txt",
    )
    add_json(parser)
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Begin a song file, or answer."""
    if args.song == "new":
        return refuse(args, _OF_THE_ANSWER, "is for the answer") or _new(args)
    return refuse(args, {"part": "--part", "out": "--out"}, "is for 'song new'") or _answer(args)


def _new(args: argparse.Namespace) -> int:
    from heeltap.app.song.open_song import ENDING, guess_song
    from heeltap.cli.output import save
    from heeltap.files.toml.songs import song_to_toml
    from heeltap.views.song_text import new_song_text

    if len(args.takes) != 1:
        print("heeltap song new: name one MIDI file (see heeltap song --help)", file=sys.stderr)
        return 2
    song, guesses = guess_song(args.takes[0], args.part)
    path = args.out or str(Path(args.takes[0]).with_name(f"{song.name}{ENDING}"))
    save(args, path, song_to_toml(song, guesses).encode(), args.takes)
    sys.stdout.write(new_song_text(song, guesses, path))
    return 0


def _answer(args: argparse.Namespace) -> int:
    from heeltap.app.song.open_song import open_song
    from heeltap.cli.output import RESULT, check

    opened = open_song(args.song)
    check(args, args.json, RESULT, opened.files)
    if args.page:
        from heeltap.views.song_page import page_writer

        page_writer(args.page)
    if not args.watch:
        return _tell(args, opened)
    if args.takes:
        print(
            "heeltap song: --watch looks at the song's own takes; name none (see heeltap song --help)", file=sys.stderr
        )
        return 2
    return _watch(args, opened)


def _tell(args: argparse.Namespace, opened: "OpenSong") -> int:
    """The whole answer, once."""
    from heeltap.app.song.answer import answer
    from heeltap.app.song.takes import takes_of
    from heeltap.cli.output import save, save_json
    from heeltap.errors import InputFileError
    from heeltap.files.result_json import to_json
    from heeltap.views.song_text import song_csv, song_text

    takes, problems = takes_of(opened, args.takes)
    inputs = [*opened.files, *(take.path for take in takes)]
    for line in problems:
        print(safe_line(f"heeltap: {line}"), file=sys.stderr)
    if not takes:
        raise InputFileError(args.song, "no take that can be used", "at least one")
    found = answer(opened, takes, problems)
    if args.json != "-":
        sys.stdout.write(song_text(found, command=args.command_line))
        sys.stdout.flush()
    save_json(args, b"".join(to_json(result) + b"\n" for result in found.results), inputs)
    if args.csv:
        save(args, args.csv, song_csv(found, opened.timeline.sections), inputs)
    if args.page:
        from heeltap.app.song.comp import make_comp
        from heeltap.views.song_page import page_of, page_writer

        comp = make_comp(opened, takes, found) if found.compared is not None else None
        save(args, args.page, page_writer(args.page)(page_of(opened, found, comp)), inputs)
    return 3 if problems else 0


def _watch(args: argparse.Namespace, opened: "OpenSong") -> int:
    """The answer again whenever a take appears, until Ctrl-C."""
    from heeltap.app.song.watch import new_takes
    from heeltap.clock import SystemClock
    from heeltap.errors import HeeltapError

    code = 0
    for number in new_takes(opened.takes_folder, SystemClock()):
        if not number:
            print(safe_line(f"heeltap: waiting for takes in {opened.takes_folder} (Ctrl-C ends)"), file=sys.stderr)
            continue
        try:
            code = _tell(args, opened)
        except HeeltapError as error:
            print(f"heeltap: {error}", file=sys.stderr)
        print(safe_line(f"heeltap: waiting for the next take in {opened.takes_folder} (Ctrl-C ends)"), file=sys.stderr)
    return code
