"""The options that several commands share, each declared once, and the types of their values.

A command names the options that it takes and refuses the others. None always means that you did not give it.

Inside: `add_reading` and `reading_of` (what is read), `add_judging` and `options_of` (how it is judged), the single options
(`add_part`, `add_pattern`, `add_lean`, `add_pocket`, `add_delay`, `add_retrigger`, `add_split`, `add_json`, `add_force`,
`add_tempo`, `add_metre`, `add_seed` and `seed_of`), `refuse`; the types `milliseconds`, `positive`, `lean`, `window`.
"""

import argparse
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from heeltap.analysis.analyse import Options
    from heeltap.app.score.reading import Reading
    from heeltap.model.lean import Lean

__all__ = [
    "add_delay",
    "add_force",
    "add_json",
    "add_judging",
    "add_lean",
    "add_metre",
    "add_part",
    "add_pattern",
    "add_pocket",
    "add_reading",
    "add_retrigger",
    "add_seed",
    "add_split",
    "add_tempo",
    "lean",
    "milliseconds",
    "options_of",
    "positive",
    "reading_of",
    "refuse",
    "seed_of",
    "window",
]

_GRIDS = (8, 12, 16, 24)


def milliseconds(text: str) -> float:
    """A finite number of milliseconds; a usage error names what was found."""
    try:
        value = float(text.removesuffix("ms"))
    except ValueError:
        value = float("nan")
    if not abs(value) <= 10_000:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of milliseconds between -10000 and 10000")
    return value


def positive(text: str) -> float:
    """A number of milliseconds above 0."""
    value = milliseconds(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be more than 0 ms")
    return value


def window(text: str) -> float:
    """A number of milliseconds, 0 or more."""
    value = milliseconds(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be 0 ms or more")
    return value


def lean(text: str) -> "Lean":
    """``auto`` or a number of milliseconds; plus is behind the beat."""
    # Here, not above: it loads numpy, which a command that only prints its help need not wait for.
    from heeltap.model.lean import AUTO, Lean

    if text == "auto":
        return AUTO
    value = milliseconds(text)
    if abs(value) > 100:
        raise argparse.ArgumentTypeError(f"{text!r} is outside -100..100 ms (a lean is usually 0 to 30)")
    return Lean(value)


def add_reading(parser: argparse.ArgumentParser, verb: str) -> None:
    """What is read and held against what; `reading_of` takes it up. ``verb`` says what the command does with a part."""
    add_part(parser, verb)
    add_pattern(parser)
    parser.add_argument("--plan", metavar="FILE", help="what you meant to play: an exercise (.toml) or a MIDI file")
    parser.add_argument(
        "--leader",
        metavar="PART",
        help="measure against kick and snare of this part instead of the click; drums finds it, click is none of them",
    )
    parser.add_argument("--sections", metavar="TEXT", help="name the sections by their first bars: 'intro:1 verse:5'")
    add_tempo(parser, "as in the file", "quarter notes a minute of the click")
    parser.add_argument(
        "--at", type=int, metavar="BAR", help="the bar of the song that the file begins with, if it is a clip of it"
    )


def add_judging(parser: argparse.ArgumentParser) -> None:
    """How it is judged; `options_of` takes it up."""
    add_lean(parser, "where you aimed", "0; in a take folder, where you aimed then")
    add_pocket(parser)
    add_delay(parser, "the delay of your gear, if you know it (default: not known; in a take folder, as it was then)")
    add_retrigger(parser)
    add_split(parser, "C4 or a number")
    parser.add_argument(
        "--grid",
        type=int,
        choices=_GRIDS,
        help="take the nearest of so many slots in a whole note, instead of asking what you meant",
    )


def reading_of(args: argparse.Namespace) -> "Reading":
    """What `add_reading` was given."""
    from heeltap.app.score.reading import Reading

    return Reading(
        part=args.part,
        pattern=args.pattern,
        plan=args.plan,
        leader=args.leader,
        sections=args.sections,
        tempo_bpm=args.tempo,
        at_bar=args.at,
    )


def options_of(args: argparse.Namespace) -> "Options":
    """What `add_judging` was given; raises `PlanError` where a key is none."""
    from heeltap.analysis.analyse import Options
    from heeltap.model.pitch import key_of

    return Options(
        lean=args.lean,
        pocket_ms=args.pocket,
        delay_ms=args.delay,
        retrigger_ms=args.retrigger,
        grid=args.grid,
        split_key=None if args.split is None else key_of(args.split),
    )


def add_part(parser: argparse.ArgumentParser, verb: str) -> None:
    """Which part of a file; ``verb`` says what the command does with it."""
    parser.add_argument("--part", help=f"the part to {verb}: its number, 'track 2', 'channel 10', or its name")


def add_pattern(parser: argparse.ArgumentParser) -> None:
    """Which pattern of a format 2 file."""
    parser.add_argument("--pattern", type=int, metavar="N", help="the pattern of a format 2 file, from 1")


def add_lean(parser: argparse.ArgumentParser, what: str, usual: str) -> None:
    """Where to aim; ``usual`` says what holds without it."""
    text = f"{what}: 15 is 15 ms behind the click, or auto (default: {usual})"
    parser.add_argument("--lean", type=lean, metavar="MS", help=text)


def add_pocket(parser: argparse.ArgumentParser) -> None:
    """How wide the pocket is."""
    usual = "25 ms up to 96 bpm, less when it is faster, and half as much again between the beats"
    text = f"how far from there a stroke is still in the pocket (default: {usual})"
    parser.add_argument("--pocket", type=positive, metavar="MS", help=text)


def add_delay(parser: argparse.ArgumentParser, text: str) -> None:
    """What is known of the route, and in words what holds without it."""
    parser.add_argument("--delay", type=milliseconds, metavar="MS", help=text)


def add_retrigger(parser: argparse.ArgumentParser) -> None:
    """The window of double triggers."""
    text = "count a second note of one pad or key within this time as a double trigger (default: 30; 0: never)"
    parser.add_argument("--retrigger", type=window, metavar="MS", help=text)


def add_split(parser: argparse.ArgumentParser, usual: str) -> None:
    """Where the hands part; ``usual`` says what is taken."""
    parser.add_argument("--split", metavar="KEY", help=f"the lowest key of your right hand: {usual}")


def add_json(parser: argparse.ArgumentParser) -> None:
    """Where the result goes as data."""
    text = "write the result as JSON, too; - prints JSON and nothing else"
    parser.add_argument("--json", metavar="FILE", help=text)


def add_force(parser: argparse.ArgumentParser) -> None:
    """Whether files of others may be written over."""
    text = "write over any other file of that name, too, not only over one that heeltap made"
    parser.add_argument("--force", action="store_true", help=text)


def add_tempo(parser: argparse.ArgumentParser, usual: str, what: str = "quarter notes a minute") -> None:
    """How fast; ``usual`` says what holds without it."""
    parser.add_argument("--tempo", type=float, metavar="BPM", help=f"{what} (default: {usual})")


def add_seed(parser: argparse.ArgumentParser, what: str) -> None:
    """Which of many; ``what`` says what another number does."""
    parser.add_argument("--seed", type=int, help=f"another number {what} (default: 1)")


def seed_of(args: argparse.Namespace) -> int:
    """What `add_seed` was given, else 1."""
    return 1 if args.seed is None else int(args.seed)


def add_metre(parser: argparse.ArgumentParser, usual: str) -> None:
    """How a bar is counted; ``usual`` says what holds without it."""
    parser.add_argument("--metre", help=f"such as 3/4 or 6/8 (default: {usual})")


def refuse(args: argparse.Namespace, options: Mapping[str, str], why: str) -> int:
    """Say which of these options was given although it cannot apply; 0 where none was, else the exit code of a usage error.

    ``options`` gives the flag of each name in ``args``; None, False and empty lists are "not said".
    """
    given = [flag for name, flag in options.items() if getattr(args, name) not in (None, False, [])]
    if not given:
        return 0
    print(f"heeltap {args.command}: {' and '.join(given)} {why} (see heeltap {args.command} --help)", file=sys.stderr)
    return 2
