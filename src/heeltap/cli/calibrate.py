"""``heeltap calibrate``: measure the constant delay of your gear, in one of three ways."""

import argparse
import sys
from typing import TYPE_CHECKING

from heeltap.cli.options import add_seed, seed_of
from heeltap.cli.parser import Commands
from heeltap.cli.progress import moving_bar
from heeltap.safe_text import safe_line

if TYPE_CHECKING:
    from heeltap.files.calibrations import Calibrated
    from heeltap.gear.delay import Declined, Delay

__all__ = ["add", "run"]

DECLINED = 4
"""Exit code when heeltap found no delay: you have to mend the route first."""


def add(commands: Commands) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "calibrate",
        help="measure the delay of your gear",
        description="Measure the constant delay of your gear, so that early and late mean what you hear. heeltap keeps it for "
        "these ports and this sound buffer, and takes it away from every stroke that you drill.",
        epilog="Without it everything may be early or late by the delay. Differences between beats, bars and takes hold all the "
        "same.",
        example='heeltap calibrate --microphone --in "Drum Pads"',
    )
    way = parser.add_mutually_exclusive_group(required=True)
    way.add_argument(
        "--same-path",
        action="store_true",
        help="you hear the click and yourself through the same output, so there is nothing to take away",
    )
    way.add_argument(
        "--microphone",
        nargs="?",
        const="",
        metavar="DEVICE",
        help="a microphone hears the click and your knocks on the pad or key",
    )
    way.add_argument(
        "--tap",
        action="store_true",
        help="tap along; this gives a feel offset, by which heeltap never judges early or late",
    )
    way.add_argument("--show", action="store_true", help="list what heeltap keeps")
    way.add_argument(
        "--forget", action="store_true", help="forget the delay of --in and --out, or of everything without them"
    )
    parser.add_argument("--in", dest="in_port", metavar="PORT", help="where you play (default: the first input)")
    parser.add_argument(
        "--out", dest="out_port", metavar="PORT", help="where you hear the click (default: as in drill)"
    )
    parser.add_argument(
        "--buffer",
        metavar="TEXT",
        help="your sound buffer, such as '128 frames', where heeltap cannot ask the system (it can ask JACK)",
    )
    add_seed(parser, "clicks at other moments")


def run(args: argparse.Namespace) -> int:
    """Calibrate, show or forget; 4 when no delay could be told."""
    if args.show:
        return _show()
    if args.forget:
        return _forget(args.in_port, args.out_port)
    from heeltap.app.route.calibrate import keep
    from heeltap.app.route.ports import choose_ports
    from heeltap.gear.delay import LIMITS, Declined

    in_port, out_port = choose_ports(args.in_port, args.out_port)
    delay = _measured(args, in_port, out_port)
    if isinstance(delay, Declined):
        print(f"heeltap found no delay: {delay.reason}.")
        return DECLINED
    row = keep(delay, in_port, out_port, buffer=args.buffer)
    print("\n".join([*_words(row), LIMITS[delay.method]]))
    return 0


def _measured(args: argparse.Namespace, in_port: str, out_port: str | None) -> "Delay | Declined":
    """The delay by the way that was asked for."""
    from heeltap.app.route import calibrate as calibrating
    from heeltap.views.calibration_text import MICROPHONE_STEPS, TAP_HOW

    if args.same_path:
        return calibrating.same_path_delay(in_port, out_port)
    if args.tap:
        print(safe_line(f"In {in_port}, click {out_port or 'silent'}. {TAP_HOW}"))
        with moving_bar("tap along") as progress:
            return calibrating.tapped_delay(in_port, out_port, progress=progress)
    import numpy as np

    from heeltap.sound.audio import Microphone

    microphone = Microphone(args.microphone or None)
    where = safe_line(f"In {in_port}, click {out_port}, microphone {microphone.name}.")
    print("\n".join([where, *MICROPHONE_STEPS]))
    with moving_bar("listening") as progress:
        rng = np.random.default_rng(seed_of(args))
        return calibrating.microphone_delay_of(in_port, out_port, microphone, rng=rng, progress=progress)


def _words(row: "Calibrated") -> list[str]:
    """One calibration for people, as this terminal can show it."""
    from heeltap.views.bar_sheet import glyphs_for
    from heeltap.views.calibration_text import words

    return words(row, plus_minus=glyphs_for(sys.stdout.encoding).plus_minus)


def _show() -> int:
    """Print everything that is kept."""
    from heeltap.files.calibrations import calibration_file, calibrations

    rows = calibrations()
    if not rows:
        print("heeltap keeps no delay yet. Measure one: heeltap calibrate --same-path, --microphone or --tap")
        return 0
    for row in rows:
        print("\n".join(_words(row)))
    print(f"Kept in {calibration_file()}")
    return 0


def _forget(in_port: str | None, out_port: str | None) -> int:
    """Forget the calibrations of these ports, or all; say how many there were."""
    from heeltap.files.calibrations import forget_calibrations

    gone = forget_calibrations(in_port, out_port)
    print("There was nothing to forget." if not gone else f"Forgotten: {gone}.")
    return 0
