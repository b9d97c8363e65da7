"""``heeltap selftest``: to how many milliseconds this machine's numbers can be trusted."""

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heeltap.live.selftest import LoopReport, Spread

__all__ = ["FORMAT", "add", "moving_bar", "run"]

FORMAT = "heeltap.selftest/1"


def add(commands: Any) -> None:
    """Describe the command's arguments."""
    parser = commands.add_parser(
        "selftest",
        help="measure this machine's own timing",
        description="Send 800 notes into a loop, as clicks are sent, and measure how late they leave and how far their "
        "stamps stray when they come back. Takes about 15 s; the result is kept and told with every take.",
        epilog="Without ports the loop goes through the system's MIDI, or, where that makes no ports of its own, stays "
        "inside heeltap. To test a device, connect its output to its input by a cable and name both; what else is "
        "connected to that output may sound.",
    )
    parser.add_argument("--in", dest="in_port", metavar="PORT", help="the input at the end of the cable")
    parser.add_argument("--out", dest="out_port", metavar="PORT", help="the output at its beginning")
    parser.add_argument("--json", metavar="FILE", help="also write the result as JSON; - writes it to stdout, alone")
    parser.add_argument("--seed", type=int, default=1, help="another number, other moments (default: 1)")


def run(args: argparse.Namespace) -> int:
    """Test, print and keep; 0 when the numbers can be trusted, 4 when they cannot."""
    import numpy as np

    from heeltap.jobs.selftesting import PORTS, keep, selftest

    with moving_bar("testing") as progress:
        report = selftest(args.in_port, args.out_port, rng=np.random.default_rng(args.seed), progress=progress)
    text = lines(report)
    if report.lost < report.sent:  # an open cable says nothing about the machine
        where = "with these ports" if report.loop == PORTS else "on this machine"
        text.append(f"Kept in {keep(report)}; takes made {where} will say so.")
    stream = sys.stderr if args.json == "-" else sys.stdout
    print("\n".join(text), file=stream)
    if args.json:
        _write_json(report, args.json)
    return 0 if report.trusted else 4


def _write_json(report: "LoopReport", where: str) -> None:
    """The result as JSON, to a file or to stdout."""
    import json
    from dataclasses import asdict
    from pathlib import Path

    from heeltap.live.selftest import verdict

    document = {"format": FORMAT, **asdict(report), "trusted": report.trusted, "verdict": verdict(report)}
    data = json.dumps(document, indent=1) + "\n"
    if where == "-":
        sys.stdout.write(data)
    else:
        Path(where).write_text(data, encoding="utf-8")


def lines(report: "LoopReport") -> list[str]:
    """The result for people."""
    from heeltap.live.selftest import verdict
    from heeltap.ports.loop import INSIDE, VIRTUAL

    way = {
        VIRTUAL: "through the system's MIDI and back (no device, no cable)",
        INSIDE: "inside heeltap only: this system made no MIDI port of its own, so the engine is tested, no driver",
    }.get(report.loop, f"from {report.out_port} to {report.in_port}")
    text = [f"Loop: {way}", _counts(report)]
    rows = (
        ("notes left late", report.late_ms),
        ("stamps strayed", report.stamp_ms),
        ("both together", report.echo_ms),
    )
    if report.late_ms is not None:
        text += [f"{'ms':<18}{'median':>8}{'95 %':>8}{'99 %':>8}{'most':>8}"]
    text += [_row(title, part) for title, part in rows if part is not None]
    if report.trip_ms is not None and report.loop != INSIDE:
        text.append(f"There and back: {report.trip_ms:.2f} ms; always the same, so calibration takes care of it.")
    text += [] if report.echo_ms is None or report.loop == INSIDE else [_drift(report)]
    return [*text, _machine(report), verdict(report)]


def _counts(report: "LoopReport") -> str:
    """How many notes left and came back, and what else came."""
    parts = [f"{report.sent:,} notes sent", f"{report.lost:,} lost"]
    for number, word in ((report.doubled, "came back twice"), (report.swapped, "out of order")):
        parts += [f"{number:,} {word}"] if number else []
    if report.strange:
        parts.append(f"{report.strange:,} that were not ours: something else plays into this input")
    return ", ".join(parts)


def _row(title: str, part: "Spread") -> str:
    return f"{title:<18}{part.median:>8.2f}{part.p95:>8.2f}{part.p99:>8.2f}{part.max:>8.2f}"


def _drift(report: "LoopReport") -> str:
    """The driver's clock beside ours."""
    if report.drift_ppm is None or report.drift_ci95_ppm is None:
        return "The driver's clock: nothing to be told, it counts whole milliseconds or too little came back"
    low, high = report.drift_ci95_ppm
    jumps = "" if not report.jumps else f"; it jumped {report.jumps} times"
    ppm, low_ppm, high_ppm = (f"{round(value) + 0:+d}" for value in (report.drift_ppm, low, high))
    return f"The driver's clock runs {ppm} ppm against ours ({low_ppm} to {high_ppm}){jumps}"


def _machine(report: "LoopReport") -> str:
    load = "" if report.load is None else f"; load {report.load:.1f}"
    return report.scheduler[:1].upper() + report.scheduler[1:] + load


@contextmanager
def moving_bar(title: str) -> Iterator[Callable[[float], None] | None]:
    """A bar on stderr for work that says how far it is; None, and nothing drawn, when stderr is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda share: bar.update(task, completed=share)
