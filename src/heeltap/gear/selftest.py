"""What a loop tells about a computer: notes go out like clicks, come back like strokes, and every error is ours.

Each note carries its number in key and velocity, so lost, doubled and swapped ones are told apart. An echo has no human
in it: stamped minus due is the way there and back, which is constant and no fault, plus everything that is one.

Inside: `loop_schedule`, `measure_loop`, `LoopReport`, `Spread`, `verdict`, `summary`.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from heeltap.analysis.statistics.robust import theil_sen
from heeltap.devices.loopback import INSIDE, VIRTUAL
from heeltap.engine.records import NOT_SENT_US
from heeltap.engine.stamping import JUMP_NS, Assembler, restamp
from heeltap.files.takes.journal import Journal
from heeltap.gear.delay import irregular_us
from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.messages import Schedule, is_note_on

__all__ = ["NOTES", "TRUSTED_MS", "LoopReport", "Spread", "loop_schedule", "measure_loop", "summary", "verdict"]

NOTES = 800
"""Notes in a self-test: 15 s, with eight of them beyond the 99th percentile."""

TRUSTED_MS = 3.0
"""Where one note in a hundred strays further, scores are shown as not trustworthy: a good drummer's own spread is 5 to
10 ms. Ours."""

_SHORTEST_US, _LONGEST_US = 6_000, 30_000
"""Between notes: the fastest roll and less, with a note-off in between; a DIN cable carries three times as much."""

_CHANNEL = 15
"""Channel 16: the least likely to sound, should something listen in."""

_LOWEST_KEY, _KEYS = 24, 80


@dataclass(frozen=True, slots=True)
class Spread:
    """Sizes in milliseconds."""

    median: float
    p95: float
    p99: float
    max: float


@dataclass(frozen=True, slots=True)
class LoopReport:
    """What a loop said."""

    loop: str
    """``ports``, ``virtual`` or ``inside``."""
    in_port: str
    out_port: str
    sent: int
    """Notes that left."""
    lost: int
    """Of those, how many did not come back."""
    doubled: int
    """How many came back more than once."""
    swapped: int
    """How many came back before one that was sent earlier."""
    strange: int
    """Notes that came in and were not ours."""
    late_ms: Spread | None
    """How late the notes left; None when none did."""
    trip_ms: float | None
    """Median from sent to stamped: the way there and back. None, like what follows, when fewer than 2 came back."""
    stamp_ms: Spread | None
    """How far stamps lie from sent plus the median way, either side."""
    echo_ms: Spread | None
    """The same from due instead of sent: how far an exact player's offsets would stray."""
    drift_ppm: float | None
    """How much faster the driver's clock runs than ours; None where it cannot be told."""
    drift_ci95_ppm: tuple[float, float] | None
    jumps: int
    """How often the driver's clock lost or won 20 ms or more."""
    scheduler: str
    """In words."""
    real_time: bool
    load: float | None
    """Processes that wanted to run, average of the last minute; None where the system does not say."""
    fault: str = ""
    """What broke; empty when nothing did."""

    @property
    def trusted(self) -> bool:
        """Whether scores may be trusted: nothing lost, nothing broken, and 99 of 100 within `TRUSTED_MS`."""
        if self.fault or self.lost or not self.sent or self.echo_ms is None:
            return False
        worst = max(part.p99 for part in (self.late_ms, self.stamp_ms, self.echo_ms) if part is not None)
        return worst <= TRUSTED_MS


def loop_schedule(rng: np.random.Generator, notes: int = NOTES) -> Schedule:
    """Notes at irregular moments, each with its number in it, and their note-offs."""
    at_us = irregular_us(notes, shortest_us=_SHORTEST_US, longest_us=_LONGEST_US, rng=rng)
    due = as_ints(np.stack([at_us, at_us + _SHORTEST_US // 2], axis=1).ravel())
    messages: list[bytes] = []
    for i in range(notes):
        key, velocity = _numbered(i)
        messages += [bytes((0x90 | _CHANNEL, key, velocity)), bytes((0x80 | _CHANNEL, key, 0))]
    return Schedule(due, tuple(messages), ("click", "off") * notes, int(due[-1]) if notes else 0)


def _numbered(index: int) -> tuple[int, int]:
    """Key and velocity that stand for a number below 10,080."""
    return _LOWEST_KEY + index % _KEYS, 1 + index // _KEYS % 126


def measure_loop(
    journal: Journal,
    *,
    loop: str,
    in_port: str,
    out_port: str,
    scheduler: str,
    real_time: bool,
    load: float | None,
    fault: str = "",
) -> LoopReport:
    """Everything that the journal of a `loop_schedule` says.

    Parameters
    ----------
    journal : Journal
        Of one input; its stamps are made as those of a take are.
    loop, in_port, out_port, scheduler, real_time, load, fault
        For the report.
    """
    sent, back = _sent(journal), _heard(journal)
    came = np.isin(sent.number, back.number)
    row = _rows_of(back.number, sent.number[came])
    due_us, sent_us, stamp_us = sent.due_us[came], sent.sent_us[came], back.stamp_us[row]
    enough = row.size > 1
    drift, between, jumps = _drift(sent_us, back.chain_us[row]) if enough else (None, None, 0)
    return LoopReport(
        loop=loop,
        in_port=in_port,
        out_port=out_port,
        sent=int(came.size),
        lost=int(came.size - row.size),
        doubled=int(back.number.size - np.unique(back.number).size),
        swapped=int(np.count_nonzero(np.diff(row) < 0)),
        strange=back.strange,
        late_ms=_spread((sent.sent_us - sent.due_us) / 1000) if came.size else None,
        trip_ms=round(float(np.median(stamp_us - sent_us)) / 1000, 4) if enough else None,
        stamp_ms=_around(stamp_us - sent_us) if enough else None,
        echo_ms=_around(stamp_us - due_us) if enough else None,
        drift_ppm=drift,
        drift_ci95_ppm=between,
        jumps=jumps,
        scheduler=scheduler,
        real_time=real_time,
        load=load,
        fault=fault,
    )


class _Sent(NamedTuple):
    """The notes that left."""

    number: IntArray
    due_us: FloatArray
    sent_us: FloatArray


class _Back(NamedTuple):
    """Our notes that came in, in the order in which they came."""

    number: IntArray
    stamp_us: FloatArray
    chain_us: FloatArray
    """The driver's own clock, from any zero."""
    strange: int
    """How many others came in."""


def _sent(journal: Journal) -> _Sent:
    left = journal.click_sent_us < NOT_SENT_US
    due, sent = (column[left].astype(np.float64) for column in (journal.click_due_us, journal.click_sent_us))
    return _Sent(as_ints(journal.click_index[left] // 2), due, sent)


def _heard(journal: Journal) -> _Back:
    stamps = (restamp(journal.arrival_ns, journal.delta_s) - journal.zero_ns) / 1000
    chain = np.cumsum(np.rint(journal.delta_s * 1e9)) / 1000
    assembler = Assembler()
    rows: list[int] = []
    heard: list[int] = []
    strange = 0
    numbers = {_numbered(i): i for i in range(_KEYS * 126)}
    for row, data in enumerate(journal.data):
        for message in assembler.feed(data):
            if not is_note_on(message):
                continue
            number = numbers.get((message[1], message[2])) if message[0] & 15 == _CHANNEL else None
            if number is None:
                strange += 1
            else:
                rows.append(row)
                heard.append(number)
    return _Back(as_ints(heard), stamps[as_ints(rows)], chain[as_ints(rows)], strange)


def _rows_of(heard: IntArray, wanted: IntArray) -> IntArray:
    """Where each wanted number was heard first."""
    numbers, first = np.unique(heard, return_index=True)
    return as_ints(first[np.searchsorted(numbers, wanted)])


def _spread(sizes_ms: FloatArray) -> Spread:
    return Spread(*(round(float(value), 4) for value in np.quantile(sizes_ms, (0.5, 0.95, 0.99, 1.0))))


def _around(lag_us: FloatArray) -> Spread:
    """How far lags lie from their median."""
    return _spread(np.abs(lag_us - np.median(lag_us)) / 1000)


def _drift(sent_us: FloatArray, chain_us: FloatArray) -> tuple[float | None, tuple[float, float] | None, int]:
    """How the driver's clock runs against ours: parts per million, their interval, and how often it jumped.

    Over the longest stretch without a jump. A driver that cuts its deltas to whole milliseconds has no clock to speak
    of.
    """
    ahead = chain_us - sent_us
    jump = np.abs(np.diff(ahead)) > JUMP_NS / 1000
    edges = [0, *(np.flatnonzero(jump) + 1).tolist(), ahead.size]
    longest = int(np.argmax(np.diff(edges)))
    part = slice(edges[longest], edges[longest + 1])
    if ahead[part].size < 20 or bool(np.all(np.rint(chain_us[part]) % 1000 == 0)):
        return None, None, len(edges) - 2
    slope = theil_sen(sent_us[part], ahead[part])
    low, high = slope.ci95
    return round(slope.slope * 1e6, 2), (round(low * 1e6, 2), round(high * 1e6, 2)), len(edges) - 2


def verdict(report: LoopReport) -> str:
    """One sentence: to how many milliseconds you can trust this computer's numbers, or why you cannot."""
    if report.fault:
        return f"You cannot trust scores from this route: {report.fault}."
    if not report.sent:
        return "heeltap sent no note, so it can say nothing."
    if report.lost == report.sent:
        return "Nothing came back: connect the output to the input, by a cable or in the MIDI system."
    if report.lost or report.echo_ms is None or report.late_ms is None or report.stamp_ms is None:
        return f"You cannot trust scores from this route: it lost {report.lost} of {report.sent} notes."
    if not report.trusted:
        what, part = max(
            (
                (name, part)
                for name, part in (
                    ("click in a hundred leaves", report.late_ms),
                    ("stamp in a hundred is off by", report.stamp_ms),
                )
            ),
            key=lambda row: row[1].p99,
        )
        late = " late" if part is report.late_ms else ""
        return (
            f"You cannot trust scores from this route: one {what} {part.p99:.1f} ms or more{late} "
            f"({TRUSTED_MS:.0f} ms would do)."
        )
    whose = "the engine's own" if report.loop == INSIDE else "this computer's"
    without = {INSIDE: ", without any driver", VIRTUAL: ", without a device and its cable"}.get(report.loop, "")
    return f"You can trust {whose} numbers to {_fine(report.echo_ms.p99)} ms (99 of 100 notes){without}."


def summary(report: LoopReport) -> str:
    """One line for the take."""
    how = {INSIDE: "inside heeltap only", VIRTUAL: "through the system's MIDI"}.get(report.loop, "through its ports")
    parts = []
    if report.late_ms is not None:
        parts.append(f"clicks leave {_fine(report.late_ms.p99)} ms late")
    if report.stamp_ms is not None:
        parts.append(f"stamps are {_fine(report.stamp_ms.p99)} ms off")
    told = " and ".join(parts) + " (99 of 100 within)" if parts else "nothing came back"
    load = "" if report.load is None else f", load {report.load:.1f}"
    trust = "" if report.trusted else "; do not trust it"
    return f"{told}, {report.lost} of {report.sent} notes lost, {how}{load}{trust}"


def _fine(value_ms: float) -> str:
    """A length of time that may be far below a millisecond; never "0"."""
    return f"{value_ms:.1f}" if value_ms >= 0.95 else f"{max(value_ms, 0.01):.2f}"
