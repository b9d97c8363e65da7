"""The self-test of your computer in words, for the command line and the screens.

Inside: `lines`.
"""

from heeltap.devices.loopback import INSIDE, VIRTUAL
from heeltap.gear.selftest import LoopReport, Spread, verdict

__all__ = ["lines"]


def lines(report: LoopReport) -> list[str]:
    """The result line by line, its verdict last."""
    way = {
        VIRTUAL: "through the system's MIDI and back (no device, no cable)",
        INSIDE: "inside heeltap only: this system gave heeltap no MIDI port, so the test covers the engine but no driver",
    }.get(report.loop, f"from {report.out_port} to {report.in_port}")
    text = [f"Loop: {way}", _counts(report)]
    rows = (
        ("notes left late", report.late_ms),
        ("stamps were off", report.stamp_ms),
        ("both together", report.echo_ms),
    )
    if report.late_ms is not None:
        text += [f"{'ms':<18}{'median':>8}{'95 %':>8}{'99 %':>8}{'most':>8}"]
    text += [_row(title, part) for title, part in rows if part is not None]
    if report.trip_ms is not None and report.loop != INSIDE:
        text.append(f"There and back: {report.trip_ms:.2f} ms, always the same, so calibration takes it away.")
    text += [] if report.echo_ms is None or report.loop == INSIDE else [_drift(report)]
    return [*text, _machine(report), verdict(report)]


def _counts(report: LoopReport) -> str:
    """How many notes left and came back, and what else came."""
    parts = [f"{report.sent:,} notes sent", f"{report.lost:,} lost"]
    for number, word in ((report.doubled, "came back twice"), (report.swapped, "out of order")):
        parts += [f"{number:,} {word}"] if number else []
    if report.strange:
        parts.append(f"{report.strange:,} that heeltap did not send: something else plays into this input")
    return ", ".join(parts)


def _row(title: str, part: Spread) -> str:
    """One line of the table, milliseconds."""
    return f"{title:<18}{part.median:>8.2f}{part.p95:>8.2f}{part.p99:>8.2f}{part.max:>8.2f}"


def _drift(report: LoopReport) -> str:
    """How fast the driver's clock runs."""
    if report.drift_ppm is None or report.drift_ci95_ppm is None:
        return "heeltap cannot tell how fast the driver's clock runs: it counts whole milliseconds, or too few notes came back"
    low, high = report.drift_ci95_ppm
    jumps = "" if not report.jumps else f"; it jumped {report.jumps} times"
    ppm, low_ppm, high_ppm = (f"{round(value) + 0:+d}" for value in (report.drift_ppm, low, high))
    return f"The driver's clock runs {ppm} ppm against the computer's ({low_ppm} to {high_ppm}){jumps}"


def _machine(report: LoopReport) -> str:
    """How the system schedules heeltap, and how busy it is."""
    load = "" if report.load is None else f"; load {report.load:.1f}"
    return report.scheduler[:1].upper() + report.scheduler[1:] + load
