"""Stamps: seven traces of what drivers do, simulated drivers with known truth, raw byte streams."""

import json
from pathlib import Path

import numpy as np
import pytest

from heeltap.analysis.strokes import fold_retriggers
from heeltap.devices.names import stable_name
from heeltap.engine.stamping import Assembler, LiveStamper, restamp
from heeltap.model.arrays import FloatArray, IntArray, as_ints
from heeltap.model.messages import is_note_on
from heeltap.model.notes import make_notes

MS = 1_000_000
"""Nanoseconds in a millisecond."""


class Trace:
    """A recorded stream: arrival, driver delta and bytes of each message, and the grid it was played to."""

    def __init__(self, path: Path) -> None:
        header, *lines = [json.loads(line) for line in path.read_text().splitlines()]
        self.bpm, self.t0 = header["bpm"], header["t0"]
        self.lines = [line for line in lines if "bytes" in line]
        self.arrival_ns = as_ints(round(line["t"] * 1e9) for line in self.lines)
        self.delta_s = np.array([line["dt"] for line in self.lines])
        self.data = [bytes(line["bytes"]) for line in self.lines]
        self.port = [line.get("port", "") for line in self.lines]

    def live(self) -> IntArray:
        """Stamps as they are made while playing."""
        stamper, port, result = LiveStamper(), self.port[0], []
        for at, delta, name in zip(self.arrival_ns.tolist(), self.delta_s.tolist(), self.port, strict=True):
            if name != port:
                stamper, port = LiveStamper(), name
            result.append(stamper.stamp(at, delta))
        return as_ints(result)

    def final(self) -> IntArray:
        """Stamps as they are made when the take is over."""
        breaks = np.array([a != b for a, b in zip(self.port, [self.port[0], *self.port], strict=False)])
        return restamp(self.arrival_ns, self.delta_s, breaks=breaks)

    def offsets_ms(self, stamps: IntArray, beats: list[float], hits: IntArray) -> FloatArray:
        """Distance of chosen note-ons from the given beats."""
        grid_ms = np.array(beats) * 60_000 / self.bpm
        return (stamps[hits] / 1e9 - self.t0) * 1e3 - grid_ms

    def note_ons(self) -> IntArray:
        """Rows that strike a note."""
        return np.flatnonzero([is_note_on(data) for data in self.data])


def expected_of(folder: Path, name: str) -> dict[str, object]:
    """What must come out of one trace."""
    traces = json.loads((folder / "EXPECTED.json").read_text())["live_traces"]
    (found,) = [t["expected"] for t in traces if t["file"] == f"live/{name}.jsonl"]
    return found


@pytest.mark.outside
@pytest.mark.parametrize("how", ["live", "final"])
@pytest.mark.parametrize(
    "name", ["first_delta_zero", "same_packet_repeated_delta", "wall_clock_jumps_back", "port_lost_and_back_new_number"]
)
def test_trace_gives_its_hits(midi_cases: Path, name: str, how: str) -> None:
    """Every hit of a trace comes out at its offset, live and at the end, to 0.01 ms where the trace allows no more."""
    trace, expected = Trace(midi_cases / "live" / f"{name}.jsonl"), expected_of(midi_cases, name)
    hits = expected["hits"]
    rows = trace.note_ons()
    offsets = trace.offsets_ms(getattr(trace, how)(), [hit["beat"] for hit in hits], rows)

    assert [hit["pitch"] for hit in hits] == [trace.data[row][1] for row in rows]
    assert [hit["offset_ms"] for hit in hits] == pytest.approx(offsets, abs=expected.get("tolerance_ms", 0.01))


@pytest.mark.outside
@pytest.mark.parametrize("how", ["live", "final"])
def test_whole_millisecond_deltas_do_not_drift(midi_cases: Path, how: str) -> None:
    """Deltas cut off to whole milliseconds add up to 217 ms too little; no hit is more than 0.01 ms off all the
    same."""
    trace = Trace(midi_cases / "live" / "millisecond_deltas_drift.jsonl")
    expected = expected_of(midi_cases, "millisecond_deltas_drift")
    hits = expected["hits_sampled"]
    rows = as_ints(round(hit["beat"] * 4) for hit in hits)
    offsets = trace.offsets_ms(getattr(trace, how)(), [hit["beat"] for hit in hits], rows)

    assert expected["hit_count"] == len(trace.lines)
    assert [hit["offset_ms"] for hit in hits] == pytest.approx(offsets, abs=0.01)


@pytest.mark.outside
@pytest.mark.parametrize("how", ["live", "final"])
def test_pad_bounces_fold_into_their_hits(midi_cases: Path, how: str) -> None:
    """Bounces after 9 and 21 ms are folded and counted, the flam at 46 ms stays, and hits keep their own times."""
    trace, expected = (
        Trace(midi_cases / "live" / "pad_double_trigger.jsonl"),
        expected_of(midi_cases, "pad_double_trigger"),
    )
    stamps = getattr(trace, how)()
    notes = make_notes((stamps + 500) // 1000, [d[1] for d in trace.data], [d[2] for d in trace.data], channel=9)
    folded = fold_retriggers(notes)
    hits = sorted([*expected["hits"], *expected["extra_hits"]], key=lambda h: h["beat"] + h["offset_ms"] / 500)
    offsets = trace.offsets_ms(stamps, [hit["beat"] for hit in hits], folded.kept)

    assert expected["retriggers_merged"] == folded.folded_count
    assert [hit["offset_ms"] for hit in hits] == pytest.approx(offsets, abs=0.01)


@pytest.mark.outside
def test_returned_port_has_the_same_stable_name(midi_cases: Path) -> None:
    """The device that comes back with another number is the same device."""
    trace = Trace(midi_cases / "live" / "port_lost_and_back_new_number.jsonl")

    assert len(set(trace.port)) == 2
    assert {"Pad:Pad MIDI 1"} == {stable_name(name, windows=False) for name in trace.port}


@pytest.mark.outside
def test_raw_stream_gives_whole_messages(midi_cases: Path) -> None:
    """Running status and real-time bytes between and inside messages: three notes on, three off."""
    trace = Trace(midi_cases / "live" / "raw_stream_running_status.jsonl")
    expected, assembler = expected_of(midi_cases, "raw_stream_running_status"), Assembler()
    messages = [message for data in trace.data for message in assembler.feed(data)]
    notes = [message for message in messages if message[0] == 0x90]

    assert expected["note_ons"] == [m[1] for m in notes if is_note_on(m)]
    assert expected["note_offs"] == [m[1] for m in notes if not is_note_on(m)]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"\x90\x3c\x40", [b"\x90\x3c\x40"]),
        (b"\xc5\x07\x08", [b"\xc5\x07", b"\xc5\x08"]),  # program changes are two bytes long
        (b"\xf0\x01\x02\xf7\x40\x90\x3c\x40", [b"\x90\x3c\x40"]),  # system exclusive, then a stray data byte
        (b"\xf2\x01\x02\x40\x90\x3c\x40", [b"\xf2\x01\x02", b"\x90\x3c\x40"]),  # common messages end running status
        (b"\x90\x3c\xf8\x40", [b"\xf8", b"\x90\x3c\x40"]),  # real time inside
        (b"\x90\x3c\x80\x3c\x00", [b"\x80\x3c\x00"]),  # an unfinished message is dropped
        (b"\xf6\x40", [b"\xf6"]),
        (b"", []),
    ],
)
def test_assembler(data: bytes, expected: list[bytes]) -> None:
    """Bytes become whole messages, however they are cut."""
    assembler = Assembler()
    cut = [message for byte in data for message in assembler.feed(bytes((byte,)))]

    assert expected == Assembler().feed(data)
    assert expected == cut


def played(rng: np.random.Generator, n: int, *, every_ms: float = 180.0) -> IntArray:
    """Moments at which messages were truly played, ns: uneven, chords among them."""
    steps = np.where(rng.random(n) < 0.2, rng.uniform(0.02, 4, n), rng.gamma(4, every_ms / 4, n))
    return as_ints(5_000_000_000_000 + np.cumsum(steps * MS))


def drained(rng: np.random.Generator, true_ns: IntArray, *, stalls: int = 0) -> IntArray:
    """Moments at which a loop with turns of 1 ms drains them, held up some times for 30 to 400 ms."""
    arrival = true_ns + rng.uniform(0.02, 1.0, true_ns.size) * MS
    for start in rng.choice(true_ns[5:-5], stalls, replace=False):
        end = start + rng.uniform(30, 400) * MS
        held = (arrival >= start) & (arrival < end)
        arrival[held] = end + np.arange(np.count_nonzero(held)) * 0.02 * MS
    return as_ints(np.maximum.accumulate(arrival))


def deltas(true_ns: IntArray, *, ppm: float = 0.0) -> FloatArray:
    """What a driver says whose clock runs so much too fast; the first delta is 0."""
    return np.round(np.diff(true_ns, prepend=true_ns[0]) * (1 + ppm * 1e-6)) / 1e9


@pytest.mark.parametrize("ppm", [0.0, 100.0, -100.0])
def test_restamp_follows_a_clock_that_runs_off(rng: np.random.Generator, ppm: float) -> None:
    """Ten minutes at 100 ppm, where a running minimum would be 60 ms off: no stamp is 0.1 ms off its truth, nor
    early."""
    true = played(rng, 4400)
    assert (true[-1] - true[0]) / 1e9 > 600
    error = restamp(drained(rng, true, stalls=20), deltas(true, ppm=ppm)) - true

    assert np.max(np.abs(error)) < 0.1 * MS


def test_live_stamps_ignore_the_polls_and_the_hold_ups(rng: np.random.Generator) -> None:
    """While playing, with the last empty queue known: 99 % within 1.5 ms at 100 ppm, though some messages wait 200 ms
    and more."""
    true = played(rng, 2000)
    arrival = drained(rng, true, stalls=20)
    first_of_batch = np.maximum.accumulate(np.where(np.diff(arrival, prepend=0) > 0.1 * MS, np.arange(true.size), 0))
    empty = true[first_of_batch] - MS // 2  # the queue was last seen empty shortly before the first that waited
    told, stamper = deltas(true, ppm=100), LiveStamper()
    stamps = [
        stamper.stamp(at, delta, since_ns=since)
        for at, delta, since in zip(arrival.tolist(), told.tolist(), empty.tolist(), strict=True)
    ]
    error = np.abs(as_ints(stamps) - true)

    assert np.max(arrival - true) > 200 * MS
    assert np.percentile(error, 99) < 1.5 * MS


def test_lost_time_starts_a_new_chain(rng: np.random.Generator) -> None:
    """A driver that loses 2 s once and 50 ms once: stamps before and after are right to a poll's millisecond."""
    true = played(rng, 600)
    told = deltas(true)
    for row, lost in ((200, 2.0), (400, 0.05)):
        told[row] = max(told[row], lost + 0.001) - lost
        true = true.copy()
        true[row:] += max(0, round(lost * 1e9) - int(true[row] - true[row - 1]) + MS)
    arrival = drained(rng, true)
    live = LiveStamper()
    stamps = as_ints(live.stamp(a, d, since_ns=a - MS) for a, d in zip(arrival.tolist(), told.tolist(), strict=True))

    assert np.max(np.abs(restamp(arrival, told) - true)) < 1.0 * MS
    assert np.max(np.abs(stamps - true)) < 1.0 * MS


@pytest.mark.parametrize("quiet", [0, 500])
def test_server_that_stops_now_and_then_is_followed(rng: np.random.Generator, quiet: int) -> None:
    """A driver's clock that stops for 2.7 ms at every seventh message or so, from the start or from the middle of the
    take on: no stamp is 4 ms off at the end, nor 7 ms while playing, though the stops add up to 150 ms and more."""
    true = played(rng, 1000 + quiet)
    stops = np.cumsum((rng.random(true.size) < 0.15) & (np.arange(true.size) >= quiet)) * 2.7 * MS
    told, arrival = deltas(as_ints(true - stops)), drained(rng, true)
    live = LiveStamper()
    stamps = as_ints(live.stamp(a, d, since_ns=a - MS) for a, d in zip(arrival.tolist(), told.tolist(), strict=True))

    assert stops[-1] > 150 * MS
    assert np.max(np.abs(restamp(arrival, told) - true)) < 4 * MS
    assert np.max(np.abs(stamps - true)) < 7 * MS


def test_whole_milliseconds_lost_and_held_up(rng: np.random.Generator) -> None:
    """A driver of whole milliseconds that loses a second once: right to 1.1 ms on both sides, through hold-ups as
    well."""
    true = as_ints(played(rng, 400))
    told = np.floor(np.diff(true, prepend=true[0]) / MS) / 1e3
    true = true.copy()
    true[200:] += 1_000_000_000
    arrival = drained(rng, true, stalls=5)
    error = restamp(arrival, told) - true
    waited = (
        arrival - true > 2 * MS
    )  # how long a stamp stays late after a hold-up is bounded by the cut-off of each delta

    assert np.count_nonzero(waited) > 2
    assert np.max(np.abs(error[~waited])) < 1.1 * MS
    assert np.max(error[waited]) < 40 * MS


def test_stamps_never_run_back_nor_past_the_arrival(rng: np.random.Generator) -> None:
    """Whatever the driver says, stamps are in order and not in the future."""
    for _ in range(50):
        true = played(rng, 60)
        arrival = drained(rng, true, stalls=3)
        told = np.abs(deltas(true) * rng.choice([0.0, 1.0, 1.0, 3.0], 60))
        live = LiveStamper()
        for stamps in (
            restamp(arrival, told),
            as_ints(live.stamp(a, d) for a, d in zip(arrival.tolist(), told.tolist(), strict=True)),
        ):
            assert np.all(np.diff(stamps) >= 0)
            assert np.all(stamps <= arrival)


def test_restamp_of_exact_arrivals_changes_nothing() -> None:
    """Arrivals that agree with their deltas to the nanosecond come back as they are: a scripted player stays exact."""
    true = as_ints([0, 250_123_000, 250_124_000, 999_999_000]) + 7_000_000_000_000

    assert true.tolist() == restamp(true, deltas(true)).tolist()


def test_restamp_of_nothing_and_of_one() -> None:
    """No message gives no stamp, one message its arrival."""
    assert [] == restamp(as_ints([]), np.zeros(0)).tolist()
    assert [5] == restamp(as_ints([5]), np.zeros(1)).tolist()


def test_reopened_port_starts_at_delta_zero(rng: np.random.Generator) -> None:
    """A delta of 0 long after the message before is a port opened again: stamped by its arrival, the chain goes on from
    there."""
    true = played(rng, 40)
    told = deltas(true)
    told[20] = 0.0
    true[20:] += 3_000_000_000
    arrival = drained(rng, true)

    assert np.max(np.abs(restamp(arrival, told) - true)) < 1.0 * MS


def test_restamp_of_a_long_take_is_linear(rng: np.random.Generator) -> None:
    """A hundred thousand messages, hours of playing, keep to 0.1 ms."""
    true = played(rng, 100_000)
    error = restamp(drained(rng, true, stalls=100), deltas(true, ppm=30)) - true

    assert np.max(np.abs(error)) < 0.1 * MS
