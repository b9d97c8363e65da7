"""``heeltap selftest``: to how many milliseconds you can trust the numbers of this computer."""

import argparse
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from heeltap.gear.selftest import LoopReport

from heeltap.cli.options import add_force, add_json, add_seed, seed_of
from heeltap.cli.parser import Commands
from heeltap.cli.progress import moving_bar

__all__ = ["FORMAT", "add", "run"]

FORMAT = "heeltap.selftest/1"


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "selftest",
        help="measure the timing of this computer",
        description="Find out in 15 seconds how far you can trust the milliseconds of this computer. heeltap sends 800 notes "
        "into a loop and measures how late they leave and how exactly it times them when they come back. It keeps the result "
        "and tells it with every take.",
        epilog="Without ports the loop goes through the system's MIDI, or stays inside heeltap where the system gives no ports. "
        "To test a device, connect its output to its input with a cable and name both; other devices at that output may sound.",
        example='heeltap selftest --in "Drum Pads" --out "Drum Pads"',
    )
    parser.add_argument("--in", dest="in_port", metavar="PORT", help="the input at one end of the cable")
    parser.add_argument("--out", dest="out_port", metavar="PORT", help="the output at its other end")
    add_json(parser)
    add_force(parser)
    add_seed(parser, "sends the notes at other moments")


def run(args: argparse.Namespace) -> int:
    """Test, print and keep; 0 when you can trust the numbers, 4 when you cannot."""
    import numpy as np

    from heeltap.app.route.selftest import PORTS, keep, selftest
    from heeltap.cli.output import check, save_json
    from heeltap.views.selftest_text import lines

    check(args, args.json, f'{{"format":"{FORMAT}"}}'.encode())
    with moving_bar("testing") as progress:
        report = selftest(args.in_port, args.out_port, rng=np.random.default_rng(seed_of(args)), progress=progress)
    text = lines(report)
    if report.lost < report.sent:  # an open cable says nothing about the machine
        where = "with these ports" if report.loop == PORTS else "on this machine"
        text.append(f"heeltap keeps this in {keep(report)} and tells it with takes made {where}.")
    stream = sys.stderr if args.json == "-" else sys.stdout
    print("\n".join(text), file=stream)
    save_json(args, _json(report))
    return 0 if report.trusted else 4


def _json(report: "LoopReport") -> bytes:
    """The result as JSON."""
    import json
    from dataclasses import asdict

    from heeltap.gear.selftest import verdict

    document = {"format": FORMAT, **asdict(report), "trusted": report.trusted, "verdict": verdict(report)}
    return f"{json.dumps(document, indent=1)}\n".encode()
