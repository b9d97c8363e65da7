"""When a message was played, from when it was drained and from the driver's own deltas.

The driver fixes the time since the message before (``delta_s``) before Python gets its turn. Summed, the deltas make a
*chain*: exact between its messages, but it does not know when it began, and its clock may run 100 ppm off ours. The
moment at which we drained a message (``arrival_ns``) is on our clock, but late: by up to a poll's millisecond, or by
however long the process was held up. Lateness is never negative, so the smallest ``arrival - chain`` says where the
chain lies on our clock.

What drivers do, and what is done about it (`LiveStamper` while playing, `restamp` over the whole take):

* The first delta is 0, also when a port is opened again: a new chain.
* A delta is repeated for each message of one packet: counted once.
* Time is lost (a full queue) or won: the chain jumps by more than `JUMP_NS` and stays there, so a new chain starts. A
  process that was merely held up looks the same for one batch of messages, but not for the next ones.
* Deltas are whole milliseconds, cut off: sums would lose half a millisecond a message. Then only "at most 1 ms more
  than the delta since the message before, and not after its arrival" is believed.

Inside: `LiveStamper`, `restamp`, `Assembler`, `JUMP_NS`.
"""

from collections import deque

import numpy as np

from heeltap.model.arrays import BoolArray, FloatArray, IntArray, as_ints

__all__ = ["JUMP_NS", "WINDOW_NS", "Assembler", "LiveStamper", "restamp"]

JUMP_NS = 20_000_000
"""A chain that jumps this far, against our clock, has lost or won time. Ours; a hold-up of the process is told
apart."""

WINDOW_NS = 10_000_000_000
"""Span over which the smallest lateness counts while playing: at 100 ppm the chain runs 1 ms off in it."""

_REPEAT_NS = 2_000_000
"""A delta equal to the one before that would put the message this far into the future is a repeat. A poll is 1 ms."""

_MS = 1_000_000

_SLACK_NS = 5_000_000
"""Time that a message may need from the driver's stamp into the queue; before the queue was last empty by more it
cannot have been played, whatever a chain that is losing time says."""

_AHEAD = 4
"""Batches of messages, at least, and ..."""

_AHEAD_NS = 1_000_000_000
"""... time looked at to tell a hold-up (only some are late) from lost time (all that follow are)."""

_SURE_NS = 500_000_000
"""With nothing after it to look at, a message must jump this far before lost time is likelier than a hold-up."""

_FOLLOW_NS = 2_000_000
"""A rise of the lateness by so much that stays: the driver's clock stood still for a moment. Polls stray by 1 ms."""

_QUARTZ = 0.0002
"""Largest difference in speed between two clocks that neither stop nor lose time: 200 ppm, twice what quartz is sold
as."""

_STEEPEST = 0.01
"""What the lateness may creep up by while chains are told apart: a server that stops now and then reached 0.003."""


class LiveStamper:
    """Stamps messages as they come. One for each port; a new one when a port is opened again."""

    def __init__(self) -> None:
        self._chain = self._step = self._arrival = self._stamp = 0
        self._begun = False
        self._whole_ms = True
        self._lowest: deque[tuple[int, int]] = deque()
        """(arrival, lateness) with increasing lateness: the first is the smallest of the window."""

    def stamp(self, arrival_ns: int, delta_s: float, *, since_ns: int | None = None) -> int:
        """When the message was played, ns; never after its arrival, never before the message before.

        Parameters
        ----------
        arrival_ns : int
            When it was drained.
        delta_s : float
            The driver's delta.
        since_ns : int, optional
            When the queue was last seen empty. It cannot have come much before, so a chain that says so has lost time.
            Without it a message that is late by more than `JUMP_NS` always counts as lost time.
        """
        step = round(delta_s * 1e9)
        self._whole_ms = self._whole_ms and step % _MS == 0
        if not self._begun or (step == 0 and arrival_ns - self._arrival > JUMP_NS):
            stamp = self._restart(arrival_ns)
        else:
            stamp = self._continue(arrival_ns, step, arrival_ns if since_ns is None else since_ns)
        self._step, self._arrival = step, arrival_ns
        self._stamp = max(stamp, self._stamp) if self._begun else stamp
        self._begun = True
        return self._stamp

    def _continue(self, arrival_ns: int, step: int, since_ns: int) -> int:
        """The stamp of a message that belongs to the chain, or starts a new one because it cannot."""
        self._chain += step
        while self._lowest and self._lowest[0][0] < arrival_ns - WINDOW_NS and len(self._lowest) > 1:
            self._lowest.popleft()
        told = self._stamp + step + _MS if self._whole_ms else self._chain + self._lowest[0][1]
        if step == self._step > 0 and told - arrival_ns > _REPEAT_NS:
            self._chain -= step
            told -= step
        if told < since_ns - JUMP_NS or (told > arrival_ns + JUMP_NS and not self._whole_ms):
            return self._restart(arrival_ns)
        late = arrival_ns - self._chain
        while self._lowest and self._lowest[-1][1] >= late:
            self._lowest.pop()
        self._lowest.append((arrival_ns, late))
        return min(max(told, since_ns - _SLACK_NS), arrival_ns)

    def _restart(self, arrival_ns: int) -> int:
        """Begin a chain at this message: nothing better is known of it than its arrival."""
        self._chain = arrival_ns
        self._lowest.clear()
        self._lowest.append((arrival_ns, 0))
        return arrival_ns


def restamp(arrival_ns: IntArray, delta_s: FloatArray, *, breaks: BoolArray | None = None) -> IntArray:
    """When each message of a whole take from one port was played, nanoseconds on the clock of the arrivals.

    The chain is laid on our clock by the line that lies below all latenesses and closest to them: an edge of their
    lower convex hull. It follows a steady difference in speed between the clocks without error, where the running
    minimum would be 60 ms off after ten minutes at 100 ppm.

    Parameters
    ----------
    arrival_ns : int64, shape (n,)
        When each message was drained, not decreasing.
    delta_s : float64, shape (n,)
        The driver's deltas.
    breaks : bool, shape (n,), optional
        True where a new chain is known to start: the first message after a port came back.

    Returns
    -------
    int64, shape (n,)
        Not decreasing, never after the arrival.

    Notes
    -----
    Fitting under the hull: Moon, Skelly & Towsley (1999), Estimation and removal of clock skew from network delay
    measurements (from memory). Repeats, jumps, whole milliseconds and the check that the line holds are ours.
    """
    arrival = as_ints(arrival_ns)
    step = np.rint(np.asarray(delta_s, np.float64) * 1e9).astype(np.int64)
    if arrival.size == 0:
        return arrival
    known = np.zeros(arrival.size, np.bool_) if breaks is None else np.asarray(breaks, np.bool_)
    known = known | ((step == 0) & (np.diff(arrival, prepend=arrival[0]) > JUMP_NS))
    if bool(np.all(step % _MS == 0)):
        stamps = _within_a_millisecond(arrival, step, known)
    else:
        stamps = np.empty_like(arrival)
        chain, first = _chains(arrival, step, known)
        for start, end in zip(first, [*first[1:], arrival.size], strict=True):
            stamps[start:end] = _lay(arrival[start:end], chain[start:end])
    return np.minimum(np.maximum.accumulate(stamps), arrival)


def _chains(arrival: IntArray, step: IntArray, known: BoolArray) -> tuple[IntArray, list[int]]:
    """The summed deltas, and where each chain starts."""
    chain = np.empty_like(arrival)
    steps, arrivals, breaks = step.tolist(), arrival.tolist(), known.tolist()
    first: list[int] = []
    total = before = lowest = 0
    for i, (at, by) in enumerate(zip(arrivals, steps, strict=True)):
        total += by
        if i and by == before > 0 and total + lowest - at > _REPEAT_NS:
            total -= by
        if i == 0 or breaks[i] or total + lowest - at > JUMP_NS:
            first.append(i)
            lowest = at - total
        # The lateness may only sink to be called the lowest, and creep up by the steepest believed drift.
        lowest = min(lowest + int(_STEEPEST * by), at - total)
        chain[i], before = total, by
    result: list[int] = []
    for start, end in zip(first, [*first[1:], arrival.size], strict=True):
        part, late = arrival[start:end], (arrival - chain)[start:end]
        result += [start + i for i in _rises(part, late, JUMP_NS)]
    return chain, result


def _rises(arrival: IntArray, late: IntArray, jump_ns: int) -> list[int]:
    """Where pieces start: 0, and wherever the lateness rises by a jump and stays up over what comes next."""
    batch = np.flatnonzero(np.diff(arrival, prepend=arrival[0] - WINDOW_NS) > _MS)
    when = arrival[batch]
    lowest = np.minimum.reduceat(late, batch).tolist()
    end = np.searchsorted(when, when + _AHEAD_NS, side="right")
    end = np.minimum(np.maximum(end, np.arange(_AHEAD, len(lowest) + _AHEAD)), len(lowest))
    ahead = _smallest_between(lowest, list(range(len(lowest))), end.tolist())
    begin = np.minimum(np.searchsorted(when, when - WINDOW_NS), np.arange(len(lowest)) - _AHEAD).tolist()
    starts, left = [0], 0
    behind: deque[int] = deque()  # batches since ``left`` with increasing lateness: the first is the smallest
    for b in range(1, len(lowest)):
        while behind and lowest[behind[-1]] >= lowest[b - 1]:
            behind.pop()
        behind.append(b - 1)
        while behind[0] < max(left, begin[b]):
            behind.popleft()
        if ahead[b] - lowest[behind[0]] > (jump_ns if b + 1 < len(lowest) else _SURE_NS):
            starts.append(int(batch[b]))
            left = b
            behind.clear()
    return starts


def _lay(arrival: IntArray, chain: IntArray) -> IntArray:
    """One chain laid on our clock."""
    late = (arrival - chain) - (arrival[0] - chain[0])
    x = (chain - chain[0]).astype(np.float64)
    y = late.astype(np.float64)
    rest = y - _line_below(x, y)
    if np.max(rest) > _FOLLOW_NS:
        # A clock that stops now and then runs true in between; where it runs straight, this cuts nothing.
        first = _rises(arrival, late, _FOLLOW_NS)
        for start, end in zip(first, [*first[1:], x.size], strict=True):
            rest[start:end] = y[start:end] - _line_below(x[start:end], y[start:end])
    return as_ints(arrival - np.rint(np.maximum(rest, 0.0)).astype(np.int64))


def _line_below(x: FloatArray, y: FloatArray) -> FloatArray:
    """The straight line below all points and closest to them on average, at each x; no steeper than quartz."""
    hull: list[int] = []
    xs, ys = x.tolist(), y.tolist()
    for i in range(len(xs)):
        while hull and xs[hull[-1]] == xs[i] and ys[hull[-1]] >= ys[i]:
            hull.pop()
        if hull and xs[hull[-1]] == xs[i]:
            continue
        while len(hull) > 1 and (ys[hull[-1]] - ys[hull[-2]]) * (xs[i] - xs[hull[-2]]) >= (ys[i] - ys[hull[-2]]) * (
            xs[hull[-1]] - xs[hull[-2]]
        ):
            hull.pop()
        hull.append(i)
    if len(hull) == 1:
        return np.full(x.size, ys[hull[0]])
    middle = float(np.mean(x))
    edge = int(np.clip(np.searchsorted(x[hull], middle, side="right") - 1, 0, len(hull) - 2))
    left, right = hull[edge], hull[edge + 1]
    slope = float(np.clip((ys[right] - ys[left]) / (xs[right] - xs[left]), -_QUARTZ, _QUARTZ))
    return np.asarray(slope * x + np.min(y - slope * x))


def _smallest_between(values: list[int], begin: list[int], end: list[int]) -> list[int]:
    """Smallest of each stretch of values; no stretch is empty, and neither bound may run back."""
    queue: deque[int] = deque()
    result, taken = [], 0
    for first, last in zip(begin, end, strict=True):
        for row in range(taken, last):
            while queue and values[queue[-1]] >= values[row]:
                queue.pop()
            queue.append(row)
        taken = last
        while queue[0] < first:
            queue.popleft()
        result.append(values[queue[0]])
    return result


def _within_a_millisecond(arrival: IntArray, step: IntArray, known: BoolArray) -> IntArray:
    """Stamps where deltas are whole milliseconds: the arrival, but at most 1 ms more than the delta after the message
    before."""
    arrivals, steps, breaks = arrival.tolist(), step.tolist(), known.tolist()
    stamps: list[int] = []
    for i, at in enumerate(arrivals):
        told = stamps[-1] + steps[i] + _MS if i else at
        if i == 0 or breaks[i] or (told < at - JUMP_NS and _stays_late(arrivals, steps, i, told)):
            told = at
        stamps.append(min(at, told))
    return as_ints(stamps)


def _stays_late(arrivals: list[int], steps: list[int], i: int, told: int) -> bool:
    """Whether the messages of the next batches, told from message ``i``, are late by a jump as well."""
    smallest = arrivals[i] - told
    batches = 1
    for j in range(i + 1, len(arrivals)):
        batches += arrivals[j] - arrivals[j - 1] > _MS
        if batches > _AHEAD:
            break
        told += steps[j] + _MS
        smallest = min(smallest, arrivals[j] - told)
    return smallest > (JUMP_NS if batches > 1 else _SURE_NS)


_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2, 0xF1: 1, 0xF2: 2, 0xF3: 1}
"""Data bytes after each status; channel messages by their upper half."""


class Assembler:
    """Whole messages out of a raw byte stream: running status, real-time bytes between and inside messages, system
    exclusive.

    Ports that frame messages themselves (all that rtmidi opens) do not need it, and pass through it unchanged.
    """

    def __init__(self) -> None:
        self._status = 0
        self._data = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """The messages that these bytes complete, in order; system exclusive is swallowed."""
        done: list[bytes] = []
        for byte in data:
            if byte >= 0xF8:
                done.append(bytes((byte,)))  # real time: may stand anywhere and changes nothing
            elif byte >= 0x80:
                self._begin(byte, done)
            elif self._status:
                self._data.append(byte)
                if len(self._data) == _data_bytes(self._status):
                    done.append(bytes((self._status, *self._data)))
                    self._data.clear()
                    if self._status >= 0xF0:
                        self._status = 0
        return done

    def _begin(self, status: int, done: list[bytes]) -> None:
        """A status byte: what was unfinished is dropped."""
        self._data.clear()
        self._status = status if _data_bytes(status) else 0
        if status == 0xF6:  # tune request: the one common message without data
            done.append(b"\xf6")


def _data_bytes(status: int) -> int:
    """Data bytes that follow a status; 0 for those that carry none or have no end of their own."""
    return _DATA_BYTES.get(status & 0xF0 if status < 0xF0 else status, 0)
