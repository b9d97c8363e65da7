"""The lines of a journal after the first: how each is read, and what was played again after a pause.

Inside: `Line`, `Go`, `lines_of`, `goes_of`, `RESUMED`, `DROPPED`.
"""

from typing import Annotated, NamedTuple

import msgspec

__all__ = ["DROPPED", "RESUMED", "Go", "Line", "goes_of", "lines_of"]

RESUMED = "resumed"
"""Kind of gap after which the take goes on from a bar line."""

DROPPED = "dropped"
"""Kind of gap without an end: the MIDI system did not finish a cycle in time, and a message may be lost."""

_I64 = Annotated[int, msgspec.Meta(ge=-(2**63), le=2**63 - 1)]


class Line(msgspec.Struct, frozen=True, gc=False):
    """Any line after the first; fields that we do not know are ignored."""

    t: float | None = None
    t_ns: _I64 | None = None
    bytes: tuple[Annotated[int, msgspec.Meta(ge=0, le=255)], ...] | None = None
    dt: float = 0.0
    port: str = ""
    click: _I64 | None = None
    due_us: _I64 | None = None
    sent_us: _I64 | None = None
    key: _I64 = -1
    gap: str | None = None
    zero_ns: _I64 | None = None
    cut_us: _I64 | None = None
    end: bool = False

    def at_ns(self) -> int:
        """Arrival in nanoseconds; raises `ValueError` where the line has no usable time."""
        if self.t_ns is not None:
            return self.t_ns
        if self.t is None or abs(self.t) > 9e9:  # 285 years: beyond int64 nanoseconds
            raise ValueError("no time")
        return round(self.t * 1e9)


class Go(NamedTuple):
    """What was written between two pauses."""

    lines: list[Line]
    zero_ns: int
    """When bar 1, beat 1 fell for these lines."""
    late_ns: int
    """How much later that is than at first."""
    from_us: int
    to_us: int
    """What is outside of these was played in another go, microseconds from bar 1, beat 1."""

    def us_of(self, at_ns: int) -> int:
        """A moment of these lines, microseconds from bar 1, beat 1."""
        return (at_ns - self.zero_ns) // 1000

    def takes(self, at_us: int | None) -> bool:
        """Whether what was played or sent then counts in this go."""
        return at_us is not None and self.from_us <= at_us < self.to_us

    def within_ns(self, at_ns: int) -> int:
        """A moment on the clock of the first go, at the nearest edge where it is outside this go."""
        inside_us = min(max(self.us_of(at_ns), self.from_us), self.to_us)
        return at_ns - self.late_ns + (inside_us - self.us_of(at_ns)) * 1000


_EVER_US = 2**62


def goes_of(lines: list[Line], zero_ns: int) -> list[Go]:
    """The lines of each go, in order; the lines that tell of a resumption belong to the go that begins."""
    goes = [Go([], zero_ns, 0, -_EVER_US, _EVER_US)]
    for line in lines:
        if line.gap == RESUMED and line.zero_ns is not None and line.cut_us is not None:
            goes.append(Go([], line.zero_ns, line.zero_ns - zero_ns, line.cut_us, _EVER_US))
        goes[-1].lines.append(line)
    # From the last one back, so that the cost does not grow with the square of the pauses.
    earliest_us, ended = _EVER_US, []
    for go in reversed(goes):
        ended.append(go._replace(to_us=earliest_us))
        earliest_us = min(earliest_us, go.from_us)
    return ended[::-1]


def lines_of(rest: list[bytes]) -> tuple[list[Line], int]:
    """Every line that can be read, and how many could not."""
    decode = msgspec.json.Decoder(Line).decode
    good, bad = [], 0
    for raw in rest:
        if not raw.strip():
            continue
        try:
            line = decode(raw)
            if line.bytes or line.gap is not None:
                line.at_ns()
        except (msgspec.MsgspecError, RecursionError, ValueError):
            bad += 1
        else:
            good.append(line)
    return good, bad
