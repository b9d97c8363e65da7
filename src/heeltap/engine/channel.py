"""The wire between engine and screen: a pair of sockets that carries fixed-size records both ways and never blocks
either side.

A screen that does not read must not hold up the clicks. What the system does not take at once waits in a backlog of
`BACKLOG_BYTES`; what does not fit there is dropped, for the screen only, and counted. The sequence number in each
record shows the hole. One end closed is how the other notices that its partner died.

Inside: `Channel`, `channel_pair`.
"""

import socket

from heeltap.engine.records import SIZE, Record, pack, unpack

__all__ = ["BACKLOG_BYTES", "Channel", "channel_pair"]

BACKLOG_BYTES = SIZE * 8192
"""229 kB: eight thousand records, minutes of playing."""


class Channel:
    """One end."""

    def __init__(self, sock: socket.socket) -> None:
        """Take over a connected socket and make it non-blocking."""
        sock.setblocking(False)
        self._sock = sock
        self._backlog = bytearray()
        self._read = bytearray()
        self._sequence = 0
        self.dropped = 0
        """Records that the other end never gets."""
        self.closed_by_peer = False

    def send(self, record: Record) -> None:
        """Queue one record, numbered; it goes out with `flush`."""
        data = pack(record._replace(sequence=self._sequence))
        self._sequence = (self._sequence + 1) & 0xFFFFFFFF
        if len(self._backlog) + SIZE > BACKLOG_BYTES:
            self.dropped += 1
        else:
            self._backlog += data

    def flush(self) -> None:
        """Hand to the system what it takes now."""
        if not self._backlog or self.closed_by_peer:
            return
        try:
            sent = self._sock.send(self._backlog)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self.closed_by_peer = True
            return
        del self._backlog[:sent]

    def receive(self) -> list[Record]:
        """Every whole record that has arrived; sets ``closed_by_peer`` when the other end is gone."""
        while True:
            try:
                data = self._sock.recv(65_536)
            except (BlockingIOError, InterruptedError):
                break
            except OSError:
                data = b""
            if not data:
                self.closed_by_peer = True
                break
            self._read += data
        whole = len(self._read) - len(self._read) % SIZE
        if not whole:
            return []
        records = unpack(bytes(self._read[:whole]))
        del self._read[:whole]
        return records

    def close(self) -> None:
        """Close this end; the other one notices."""
        self._sock.close()


def channel_pair() -> tuple[socket.socket, socket.socket]:
    """Two connected sockets: one for this process, one to hand to the child."""
    return socket.socketpair()
