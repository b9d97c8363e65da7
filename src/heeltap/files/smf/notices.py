"""What was odd about a file, in few lines.

Conventions: a notice says where, what the reader found, and what it did about it. The same oddity in the same track is one
line with its count. Tracks are numbered as in the file, from 0 (so that they equal the column ``track``), bytes from 0.
"""

__all__ = ["MOST_LINES", "Notices"]

MOST_LINES = 40
"""More lines than this help nobody: the rest is counted. Ours."""


class Notices:
    """Collects notices while a file is read; `lines` gives them in the order in which they first occurred."""

    def __init__(self) -> None:
        self._count: dict[tuple[int, str, str], int] = {}
        self._place: dict[tuple[int, str, str], tuple[int, int]] = {}
        self._more = 0

    def add(self, what: str, done: str, *, track: int = -1, tick: int = -1, byte: int = -1, times: int = 1) -> None:
        """Note an oddity; a ``track``, ``tick`` or ``byte`` of -1 is not named. The first place is kept."""
        key = (track, what, done)
        if key in self._count:
            self._count[key] += times
        elif len(self._count) < MOST_LINES:
            self._count[key] = times
            self._place[key] = (tick, byte)
        else:
            self._more += 1

    def lines(self) -> tuple[str, ...]:
        """The notices as single lines."""
        found = [self._line(key, count) for key, count in self._count.items()]
        if self._more:
            found.append(f"and {self._more} more oddities of this kind")
        return tuple(found)

    def _line(self, key: tuple[int, str, str], count: int) -> str:
        track, what, done = key
        named = zip(("track", "tick", "byte"), (track, *self._place[key]), strict=True)
        places = [f"{name} {number}" for name, number in named if number >= 0]
        where = f"{', '.join(places)}: " if places else ""
        return f"{where}{what}{f' ({count} times)' if count > 1 else ''}; {done}"
