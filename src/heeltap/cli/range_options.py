"""Options for what part of a drill is played: some bars, in a loop, with a bar to run in, and the count before it.

Inside: `add_range`, `ranged`.
"""

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from heeltap.app.drill.drill import Drill

__all__ = ["add_range", "ranged"]


def add_range(parser: argparse.ArgumentParser) -> None:
    """Which bars, how often, and what comes before them."""
    parser.add_argument(
        "--bars", metavar="A-B", help="play these bars only, such as 14-16, or one bar, such as 14 (default: all)"
    )
    parser.add_argument(
        "--loop",
        metavar="N",
        type=int,
        nargs="?",
        const=-1,
        help="play the bars again and again, N times, or without N until you stop; the report judges each pass by itself, and "
        "heeltap keeps it as a take of its own",
    )
    parser.add_argument(
        "--run-in",
        action="store_true",
        help="let the bar before the first one sound after the count, so that you can come in; heeltap does not judge it",
    )
    parser.add_argument(
        "--count-in",
        metavar="N",
        type=int,
        help="bars that heeltap counts, 1 to 8 (default: as in the exercise, else 1)",
    )


def ranged(args: argparse.Namespace, drill: "Drill") -> "Drill":
    """The drill of the bars that were asked for. Raises `PlanError`."""
    from heeltap.app.drill.ranges import drill_bars, with_count_in
    from heeltap.model.excerpt import bars_of_text

    if args.bars is not None or args.loop is not None or args.run_in:
        bars = None if args.bars is None else bars_of_text(args.bars)
        passes = 1 if args.loop is None else None if args.loop == -1 else args.loop
        drill = drill_bars(drill, bars, passes=passes, run_in=args.run_in)
    return drill if args.count_in is None else with_count_in(drill, args.count_in)
