"""The raw take while you play: a file that only grows, one JSON line for each message.

The journal survives when everything else is killed, because the engine writes it line by line as the notes arrive and
never goes back. Its lines::

    {"format":"heeltap.journal/1","t0":10.0,"zero_ns":10000000000}                   the header
    {"t":10.018000000,"bytes":[144,60,90],"dt":0.1,"t_ns":10018000000,"port":"Pad"}  a message as the driver gave it
    {"click":3,"due_us":1500000,"sent_us":1500041,"key":76}                          a click
    {"gap":"lost","t":12.500000000,"t_ns":12500000000,"port":"Pad"}                  the stream broke or came back
    {"gap":"dropped","t":12.7,"t_ns":12700000000}                                    the MIDI system dropped a cycle
    {"gap":"resumed","t":14.0,"t_ns":14000000000,"zero_ns":11000000000,"cut_us":1900000}  the player resumed after a pause
    {"end":true}                                                                     the take was closed in order

``zero_ns`` is when bar 1, beat 1 fell on the clock of the arrivals; a click's times are microseconds from there. ``t``
repeats ``t_ns`` in seconds for people; ``dt`` is the driver's own delta in seconds. Readers ignore fields that they do
not know, and take ``t`` where ``t_ns`` is missing. After a pause the take goes on from a bar line: ``zero_ns`` is when bar 1,
beat 1 falls from then on, and what was played from ``cut_us`` on before is played again. `read_journal` gives the take as if
it had been played without the pause: earlier notes and clicks from ``cut_us`` on are left out, later ones moved.

Inside: `JournalWriter` (cheap enough for the loop that also sends the clicks), `Journal`, `Gap`, `read_journal`, `journal_from`.
"""

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

import msgspec
import numpy as np

from heeltap.errors import TakeFileError
from heeltap.files.regular import read_regular
from heeltap.files.takes.disk import Disk, unwritten_reason, write_all
from heeltap.files.takes.journal_lines import DROPPED, RESUMED, goes_of, lines_of
from heeltap.model.arrays import FloatArray, IntArray, as_ints

__all__ = [
    "FORMAT",
    "RESUMED",
    "Gap",
    "Journal",
    "JournalWriter",
    "journal_from",
    "read_journal",
]

FORMAT = "heeltap.journal/1"

_SYNC_NS = 1_000_000_000
"""What a power cut may cost: one second. A killed process loses nothing that was flushed."""

MOST_BYTES, MOST_LINES, MOST_PORTS = 128 << 20, 2_000_000, 64
"""Of a journal. An hour of dense playing is under 10 MB and 100,000 lines; two million lines take half a GB to read."""


class JournalWriter:
    """Appends a take to a file as it is played.

    Lines are formatted by hand; `flush` hands them to a thread of the writer's own, which writes them and syncs the file
    once a second. From the write on they outlive this process. The caller never touches the disk: a write that meets a
    running sync waits for it (measured: 6-10 ms once in a thousand writes), and a click must not. Nothing here raises
    while playing: a full disk is told by `fault`, and what was not written waits in memory (`KEPT_BYTES`) and is tried again
    with the next flush.
    """

    __slots__ = ("_disk", "_latest_ns", "_lines", "_synced_ns", "path")

    def __init__(self, path: Path, header: Mapping[str, object]) -> None:
        """Create the file and write its first line.

        Parameters
        ----------
        path : Path
            Must not exist: a journal is never written over.
        header : mapping
            Anything that JSON holds. ``zero_ns`` (when bar 1, beat 1 falls, on the clock of the arrivals) is what a
            reader needs; ``format`` and ``t0`` are added.

        Raises
        ------
        TakeFileError
            The file exists or cannot be created.
        """
        self.path = path
        self._lines: list[str] = []
        self._latest_ns = self._synced_ns = 0
        full: dict[str, object] = {"format": FORMAT, **header}
        zero_ns = header.get("zero_ns")
        if isinstance(zero_ns, int):
            full.setdefault("t0", zero_ns / 1e9)
        first = json.dumps(full, separators=(",", ":")) + "\n"
        try:
            file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
            write_all(file, first.encode())
        except OSError as error:
            raise TakeFileError(
                str(path), f"cannot be created: {error.strerror}", hint="is the folder writable?"
            ) from error
        self._disk: Disk = Disk(file)

    @property
    def fault(self) -> str | None:
        """Why not everything is on the disk, the reason before the file; None when all is that could be tried."""
        if not self._disk.fault_code:
            return None
        return f"{unwritten_reason(self._disk.fault_code)}, so the take is not whole in {self.path}"

    @property
    def fault_code(self) -> int:
        """The system's number of that reason; 0 when there is none."""
        return self._disk.fault_code

    def message(self, arrival_ns: int, delta_s: float, data: Iterable[int], port: str = "") -> None:
        """Keep one message: when it was drained, the driver's delta, its bytes and the port's name."""
        whole, part = divmod(arrival_ns, 1_000_000_000)
        line = f'{{"t":{whole}.{part:09d},"bytes":{list(data)},"dt":{delta_s!r},"t_ns":{arrival_ns}'
        self._lines.append(line + (f',"port":{json.dumps(port)}}}' if port else "}"))
        self._latest_ns = arrival_ns

    def click(self, index: int, due_us: int, sent_us: int, key: int = -1) -> None:
        """Keep when a click was due and when it was really sent, microseconds from bar 1, beat 1, and which key it was."""
        more = f',"key":{key}' if key >= 0 else ""
        self._lines.append(f'{{"click":{index},"due_us":{due_us},"sent_us":{sent_us}{more}}}')

    def gap(self, kind: str, at_ns: int, port: str = "") -> None:
        """Keep that the stream broke (``lost``, ``pause``, ...) or came back (``back``, ``resume``, ...).

        ``port`` names the one that it happened to; empty is all of them.
        """
        whole, part = divmod(at_ns, 1_000_000_000)
        line = f'{{"gap":{json.dumps(kind)},"t":{whole}.{part:09d},"t_ns":{at_ns}'
        self._lines.append(line + (f',"port":{json.dumps(port)}}}' if port else "}"))
        self._latest_ns = at_ns

    def moved(self, at_ns: int, zero_ns: int, cut_us: int) -> None:
        """Keep that the player resumed after a pause.

        Parameters
        ----------
        at_ns : int
            When, on the clock of the arrivals.
        zero_ns : int
            When bar 1, beat 1 falls from now on, on the same clock.
        cut_us : int
            Notes and clicks of earlier goes from here on are played again and do not count, microseconds from bar 1, beat 1.
        """
        whole, part = divmod(at_ns, 1_000_000_000)
        self._lines.append(
            f'{{"gap":"resumed","t":{whole}.{part:09d},"t_ns":{at_ns},"zero_ns":{zero_ns},"cut_us":{cut_us}}}'
        )
        self._latest_ns = at_ns

    def flush(self, now_ns: int | None = None, *, wait: bool = False) -> None:
        """Have everything written, and synced at most once a second, without waiting for it.

        Parameters
        ----------
        now_ns : int, optional
            The time on the clock of the arrivals; the latest line's own where not given.
        wait : bool
            Return only when it was written, or could not be.
        """
        latest = self._latest_ns if now_ns is None else now_ns
        sync = latest - self._synced_ns >= _SYNC_NS
        if sync:
            self._synced_ns = latest
        if self._lines or sync or wait:
            self._disk.take(("\n".join(self._lines) + "\n").encode() if self._lines else b"", sync=sync)
            self._lines.clear()
        if wait:
            self._disk.wait()

    def close(self) -> None:
        """Write the last lines and the end mark, sync, and close; a second call does nothing."""
        if self._disk.is_alive():
            self._lines.append('{"end":true}')
            self.flush()
            self._disk.stop()

    def __enter__(self) -> "JournalWriter":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


@dataclass(frozen=True, slots=True)
class Gap:
    """A break in the stream, or its end."""

    kind: str
    """As the writer named it: ``lost``, ``back``, ``pause``, ``resume``, ..."""
    at_ns: int
    """On the clock of the arrivals."""
    port: str = ""
    """The port that it happened to; empty is all of them, or a writer that did not say."""


@dataclass(frozen=True, slots=True, eq=False)
class Journal:
    """What a journal holds; messages in the order in which they were drained."""

    header: Mapping[str, Any]
    """The first line."""
    zero_ns: int
    """When bar 1, beat 1 fell, on the clock of the arrivals; 0 where the header does not say."""
    arrival_ns: IntArray
    """When each message was drained."""
    delta_s: FloatArray
    """The driver's own delta before each message, seconds."""
    data: tuple[bytes, ...]
    """The bytes of each message as they came."""
    port: tuple[str, ...]
    """The port that each message came from; empty where the writer did not say."""
    click_index: IntArray
    click_due_us: IntArray
    """Microseconds from bar 1, beat 1."""
    click_sent_us: IntArray
    """The same, as really sent."""
    click_key: IntArray
    """The key of each click; -1 where the writer did not say."""
    gaps: tuple[Gap, ...]
    bad_lines: int
    """Lines that could not be read, a torn last one included."""
    closed: bool
    """True when the writer ended the take itself; False after a kill."""

    def __len__(self) -> int:
        return len(self.data)


def read_journal(path: Path) -> Journal:
    """What a journal holds, whatever became of the program that wrote it.

    A torn last line, garbage between the lines and unknown fields cost only themselves.

    Raises
    ------
    TakeFileError
        The file is missing, unreadable, no regular file or larger than 128 MB, or its first line is not a journal's header.
    """
    return journal_from(read_regular(path, TakeFileError, MOST_BYTES, "a take's journal"), str(path))


def journal_from(raw: bytes, where: str) -> Journal:
    """The same as `read_journal` for bytes in memory; ``where`` names them in messages."""
    if (count := raw.count(b"\n")) > MOST_LINES:
        raise TakeFileError(where, f"a journal of {count:,} lines", f"at most {MOST_LINES:,}")
    first, *rest = raw.split(b"\n")
    header, zero_ns = _header(where, first)
    lines, bad = lines_of(rest)
    closed = bool(lines) and lines[-1].end
    goes = goes_of(lines, zero_ns)
    sounded = [(line, go) for go in goes for line in go.lines if line.bytes and go.takes(go.us_of(line.at_ns()))]
    played = [(line, go) for line, go in sounded if _is_near(line.at_ns() - go.late_ns - zero_ns, line.dt)]
    gaps = [
        Gap(line.gap, go.within_ns(line.at_ns()), line.port)
        for go in goes
        for line in go.lines
        if line.gap is not None and (line.gap != DROPPED or go.takes(go.us_of(line.at_ns())))
    ]
    clicks = [
        line
        for go in goes
        for line in go.lines
        if line.click is not None
        and line.due_us is not None
        and line.sent_us is not None
        and go.from_us <= line.due_us < go.to_us
        and max(abs(line.due_us), abs(line.sent_us)) <= _FAR_US
    ]
    ports = header.get("ports")
    if len({line.port for line, _ in played}) + (len(ports) if isinstance(ports, list) else 0) > 2 * MOST_PORTS:
        raise TakeFileError(where, "messages of many ports", f"at most {MOST_PORTS}")
    return Journal(
        header,
        zero_ns,
        as_ints(line.at_ns() - go.late_ns for line, go in played),
        np.array([line.dt for line, _ in played], dtype=np.float64),
        tuple(bytes(line.bytes or ()) for line, _ in played),
        tuple(line.port for line, _ in played),
        as_ints(line.click or 0 for line in clicks),
        as_ints(line.due_us or 0 for line in clicks),
        as_ints(line.sent_us or 0 for line in clicks),
        as_ints(line.key for line in clicks),
        tuple(gaps),
        bad + len(sounded) - len(played),
        closed,
    )


_FAR_NS, _FAR_US, _LONG_S = 2**62, 2**60, 30 * 86_400.0
"""A damaged line may lie at any moment. Beyond these (a century and more; a delta of thirty days) differences overflow."""


def _is_near(since_ns: int, delta_s: float) -> bool:
    """Whether a message lies where a take can be, with a delta that a driver can give."""
    return abs(since_ns) <= _FAR_NS and abs(delta_s) <= _LONG_S


def _header(where: str, first: bytes) -> tuple[dict[str, Any], int]:
    """The first line as a mapping, and when zero is; raises `TakeFileError`."""
    wanted = f'a first line like {{"format":"{FORMAT}", ...}}'
    try:
        header = msgspec.json.decode(first, type=dict[str, Any])
    except (msgspec.MsgspecError, RecursionError, UnicodeDecodeError) as error:
        raise TakeFileError(where, "is not a journal", wanted) from error
    form = header.get("format", FORMAT)  # traces written by hand may leave it out
    if form != FORMAT:
        raise TakeFileError(where, f"has the format {form!r}", repr(FORMAT), "written by a newer heeltap?")
    zero, t0 = header.get("zero_ns"), header.get("t0", 0.0)
    if isinstance(zero, int) and not isinstance(zero, bool) and abs(zero) < 2**62:
        return header, zero
    if isinstance(t0, int | float) and abs(t0) < 4e9:
        return header, round(t0 * 1e9)
    raise TakeFileError(where, "has no usable zero_ns", "when bar 1, beat 1 fell, in nanoseconds")
