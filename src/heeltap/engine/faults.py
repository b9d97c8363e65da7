"""Faults that no port ends with: cycles that the MIDI system dropped, and a journal that cannot be written.

The loop asks at every turn; what is new is written to the journal and told to the screen at once.

Inside: `FaultWatch`.
"""

from collections.abc import Iterable

from heeltap.devices.protocols import InPort
from heeltap.engine.interfaces import Journaling, ToScreen
from heeltap.engine.records import DROPPED, UNWRITTEN, Record

__all__ = ["FaultWatch"]

_MOST_AT_ONCE = 100
"""Lines in the journal for cycles that were dropped within one turn."""


class FaultWatch:
    """What was told already."""

    def __init__(self, screen: ToScreen, journal: Journaling | None) -> None:
        self._screen, self._journal = screen, journal
        self._seen: dict[int, int] = {}
        self._fault_code = 0
        self.dropped = 0
        """Cycles that the MIDI system dropped since the run began."""

    def begin(self, ports: Iterable[InPort]) -> None:
        """What was dropped before now is of no concern."""
        self._seen = {index: port.dropped for index, port in enumerate(ports)}

    def look(self, ports: Iterable[InPort], now_ns: int, at_us: int) -> None:
        """Tell what is new.

        Parameters
        ----------
        ports : iterable of InPort
        now_ns : int
            This moment on the engine's clock ...
        at_us : int
            ... and from bar 1, beat 1.
        """
        new = 0
        for index, port in enumerate(ports):
            before, dropped = self._seen.get(index, 0), port.dropped
            if dropped != before:
                self._seen[index] = dropped
                new = max(new, dropped - before)  # ports of one system share its cycles
        if new:
            self._tell_dropped(new, now_ns, at_us)
        code = 0 if self._journal is None else self._journal.fault_code
        if code != self._fault_code:
            self._fault_code = code
            self._screen.send(Record(UNWRITTEN, which=code, at_us=at_us))

    def _tell_dropped(self, new: int, now_ns: int, at_us: int) -> None:
        """Keep and tell that cycles were dropped."""
        self.dropped += new
        for _ in range(min(new, _MOST_AT_ONCE)):
            if self._journal is not None:
                self._journal.gap("dropped", now_ns)
        self._screen.send(Record(DROPPED, which=new, at_us=at_us))
