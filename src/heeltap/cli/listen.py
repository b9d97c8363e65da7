"""``heeltap listen``: hear a take as you played it, and with every stroke where it belongs."""

import argparse
import sys
from typing import TYPE_CHECKING

from heeltap.cli.options import add_force, add_judging, add_reading, options_of, reading_of, refuse
from heeltap.cli.parser import Commands

if TYPE_CHECKING:
    from heeltap.app.listen.hear import Heard, Listening

__all__ = ["add", "run"]

_OF_A_TAKE = {
    "version": "--as", "bars": "--bars", "section": "--section", "sounds": "--with", "part": "--part", "pattern": "--pattern",
    "plan": "--plan", "leader": "--leader", "sections": "--sections", "tempo": "--tempo", "at": "--at", "lean": "--lean",
    "pocket": "--pocket", "delay": "--delay", "retrigger": "--retrigger", "split": "--split", "grid": "--grid",
}  # fmt: skip
"""What an exercise that nobody has played yet cannot honour."""


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "listen",
        help="hear a take as you played it, and as it should have been",
        description="Hear a take: as you played it, with every stroke where it belongs, or both in turn. You hear it with the "
        "drums or the click, through your output or as a WAV file. Where you name no bars, you hear those to play again, "
        "the worst first.",
        epilog="Name a take folder, a MIDI file (with --plan and the other options of heeltap score), a song and one of its "
        "takes, or an exercise (anchor 2). One short high stroke before a stretch means the first version, two mean the second.",
        example="heeltap listen harbour take-3 --bars 12-13 --out rush.wav",
    )
    parser.add_argument("what", metavar="TAKE", help="a take folder, a MIDI file, or a song (.song.toml or its name)")
    parser.add_argument(
        "take", nargs="?", metavar="TAKE OF THE SONG", help="its name or number, in the order of heeltap song"
    )
    parser.add_argument(
        "--as",
        dest="version",
        choices=["played", "moved", "half", "turns"],
        help="as you played it; with every stroke where it belongs; half way; or in turns: played, moved, played (default)",
    )
    parser.add_argument("--bars", metavar="BARS", help="only these bars, such as 12-13")
    parser.add_argument("--section", metavar="NAME", help="only this section")
    parser.add_argument("--against", metavar="TAKE", help="then the same bars of another take, equally loud")
    parser.add_argument(
        "--blind", action="store_true", help="with --against: in an order that you learn after you have chosen"
    )
    parser.add_argument(
        "--with", dest="sounds", metavar="SOUND", help="drums, click, none, or parts of the song: drums,bass"
    )
    parser.add_argument("--loop", type=int, default=1, metavar="N", help="so often in a row")
    parser.add_argument(
        "--slower", type=float, default=0.0, metavar="PERCENT", help="at so much less of the tempo, 0 to 80"
    )
    parser.add_argument("--out", metavar="FILE", help="write a WAV file instead of playing it")
    parser.add_argument(
        "--font",
        metavar="FILE",
        help="with --out: real instruments from a sound font (.sf2), or 'system' for one that is installed",
    )
    add_reading(parser, "hear")
    add_judging(parser)
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Find what is to be heard, then write or play it."""
    wrong = _wrong(args)
    if wrong:
        print(f"heeltap listen: {wrong} (see heeltap listen --help)", file=sys.stderr)
        return 2
    if args.out:
        from heeltap.app.listen.give import check_wav

        check_wav(args.out, inputs=[args.what], force=args.force)
    return _two(args) if args.against else _one(args)


def _wrong(args: argparse.Namespace) -> str:
    """What does not go together; empty where all is well."""
    faults = {
        "--blind goes with --against": args.blind and not args.against,
        "--as turns is for one take": args.against and args.version == "turns",
        "name --bars or --section, not both": args.bars and args.section,
        "--loop takes 1 to 100": not 1 <= args.loop <= 100,
        "--slower takes 0 to 80 per cent": not 0 <= args.slower <= 80,
        "--font goes with --out": args.font and not args.out,
        "--blind asks you, and needs a terminal": args.blind and not sys.stdin.isatty(),
    }
    return next((text for text, holds in faults.items() if holds), "")


def _find(args: argparse.Namespace, what: str, take: str | None) -> "Heard":
    from heeltap.app.listen.find import find_take

    return find_take(what, take, reading_of(args), options_of(args), args.sounds)


def _one(args: argparse.Namespace) -> int:
    """One take, or an exercise."""
    from heeltap.app.listen.find import exercise_heard, stretches_of
    from heeltap.app.listen.hear import one_after_the_other

    exercise = exercise_heard(args.what, args.take)
    if exercise is not None:
        return refuse(args, _OF_A_TAKE, "says something of a take, and nobody has played this exercise yet") or _give(
            args, exercise
        )
    parts = stretches_of(_find(args, args.what, args.take), args.version, args.bars, args.section)
    return _give(args, one_after_the_other(parts * args.loop))


def _two(args: argparse.Namespace) -> int:
    """The same bars of two takes, and which of them is tighter."""
    import numpy as np

    from heeltap.app.listen.find import pair_of
    from heeltap.app.listen.hear import one_after_the_other

    first = _find(args, args.what, args.take)
    second = _find(args, args.what, args.against) if args.take is not None else _find(args, args.against, None)
    rng = np.random.default_rng() if args.blind else None
    parts, swapped = pair_of(first, second, args.version, (args.bars, args.section), rng)
    heard = one_after_the_other(parts * args.loop, alike=True)
    code = _give(args, heard, told=not args.blind)
    if args.blind and code == 0:
        _reveal([second, first] if swapped else [first, second])
    return code


def _reveal(order: "list[Heard]") -> None:
    """Ask which one is tighter, then say which is which."""
    from heeltap.safe_text import safe_line

    chosen = ""
    while chosen not in ("1", "2"):
        chosen = input("Which is tighter, 1 or 2? ").strip()
    spreads = [one.result.overall.spread_ms for one in order]
    for number, (one, spread) in enumerate(zip(order, spreads, strict=True), 1):
        told = "too few strokes to tell its spread" if spread is None else f"its strokes spread by {spread:.0f} ms"
        print(f"{number} is {safe_line(one.name)}: {told}{' (you chose it)' if chosen == str(number) else ''}")


def _give(args: argparse.Namespace, heard: "Listening", *, told: bool = True) -> int:
    """Write or play it."""
    from heeltap.app.listen.give import play, write_wav

    if args.out:
        seconds = write_wav(args.out, heard, slower_percent=args.slower, font=args.font)
        for at_us, words in heard.begins if told else ():
            print(f"  {at_us / 1e6 / (1 - args.slower / 100):6.1f} s  {words}")
        print(f"{args.out}: {seconds:.0f} seconds")
        return 0
    for words in play(heard, slower_percent=args.slower):
        if told:
            print(f"you hear {words}", flush=True)
    return 0
