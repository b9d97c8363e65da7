"""Begin, jump, change the version and stop while a screen plays a take or a plan.

The engine's process takes half a second to start, so a thread starts and stops it, one after the other: the screen stays
alive, and an output that only one program may open is free before heeltap opens it again.

Inside: `PlayerControl`, `sound_in_use`.
"""

import threading
from bisect import bisect_right
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.from_settings import route_in_use
from heeltap.app.listen.piece import Piece
from heeltap.app.listen.playback import Playback
from heeltap.errors import HeeltapError
from heeltap.files.settings import read_settings
from heeltap.sound.click import ClickSound

__all__ = ["PlayerControl", "sound_in_use"]


def sound_in_use() -> tuple[str | None, ClickSound]:
    """The output of the settings and how the click sounds; raises `SetFileError`, `PlanError` for a mistake in them."""
    return route_in_use()[1], kept_sound(read_settings())


class PlayerControl:
    """What is being heard; one at a time."""

    def __init__(self, out_port: Callable[[], str | None]) -> None:
        """``out_port`` says where it sounds, when it is about to; None where there is no output."""
        self._out_port = out_port
        self._piece: Piece | None = None
        self._playback: Playback | None = None
        self._from_row: int | None = None
        self._hand = ThreadPoolExecutor(1, "listening")
        self._lock, self._run = threading.Lock(), 0
        self._wanted = False
        self._starting: Future[None] | None = None
        self.moved = False
        """Whether every stroke is heard where it belongs."""
        self.problem = ""
        """Why nothing can be heard; empty while all is well."""

    @property
    def on(self) -> bool:
        """Whether something is heard, or is about to be."""
        return self._wanted

    @property
    def now_us(self) -> int | None:
        """Where it stands in the take, microseconds from bar 1, beat 1; None before it begins."""
        heard_us = self._heard_us
        if heard_us is None or self._piece is None:
            return None
        row = max(bisect_right(self._piece.starts_us, heard_us) - 1, 0)
        return heard_us - self._piece.starts_us[row] + self._piece.at_us[row]

    @property
    def _heard_us(self) -> int | None:
        """Where it stands in what is sent, microseconds from its beginning."""
        return None if self._playback is None or not self._wanted else self._playback.now_us

    @property
    def bar(self) -> int | None:
        """The bar that is heard, 0 in the count-in; None before it begins."""
        row = self._row
        if row is None or self._piece is None:
            return None
        return self._piece.bars[max(row - 1, 0)] if row or self.in_turn else 0

    @property
    def _row(self) -> int | None:
        """Which of the piece's bars is heard, from 1; 0 in the count-in, None before it begins."""
        heard_us = self._heard_us
        return None if heard_us is None or self._piece is None else bisect_right(self._piece.starts_us, heard_us)

    @property
    def what(self) -> str:
        """What is heard, in words."""
        if self._piece is None:
            return ""
        return self._piece.what[self.moved or bool(self._piece.moved_at[max((self._row or 0) - 1, 0)])]

    @property
    def of_bars(self) -> bool:
        """Whether the bars of the screen are what is heard."""
        return self._piece is None or self._piece.of_bars

    @property
    def in_turn(self) -> bool:
        """Whether both versions are heard in turn, bars of a list."""
        return self._piece is not None and any(self._piece.moved_at)

    @property
    def has_other(self) -> bool:
        """Whether there is another version."""
        return self._piece is not None and self._piece.what[0] != self._piece.what[1] and not self.in_turn

    @property
    def _row_meant(self) -> int | None:
        """The bar of the piece that is heard, or will be once it sounds."""
        return self._from_row if self._playback is None else self._row

    def begin(self, piece: Callable[[], Piece]) -> None:
        """Hear something from its count-in on, as it was played. ``piece`` is called in a thread."""
        self._piece = None
        self._start(piece, None, moved=False)

    def other(self) -> None:
        """The other version, from the moment that is heard now: both are being played, and the other one sounds."""
        if self.has_other:
            with self._lock:
                self.moved = not self.moved
                if self._playback is not None:
                    self._playback.hear(moved=self.moved)

    def jump(self, steps: int) -> None:
        """So many stops on (back, where negative): four bars, or the next bars of a list; not beyond either end."""
        if self._piece is not None:
            stops = self._piece.stops
            at = bisect_right(stops, max(self._row_meant or 1, 1) - 1) - 1 + steps
            self._start(None, 1 + stops[min(max(at, 0), len(stops) - 1)], moved=self.moved)

    def turn(self) -> None:
        """A moment has passed; to be called as often as the screen is drawn. A fault of ours in the thread comes out here."""
        if self._starting is not None and self._starting.done():
            starting, self._starting = self._starting, None
            starting.result()
        if self._playback is not None:
            self._playback.turn()
            if self._playback.over:
                problem = self._playback.problem
                self.stop()
                self.problem = problem

    def stop(self) -> None:
        """Silence; returns at once. Problems are forgotten."""
        with self._lock:
            self._run += 1
            self._wanted, self.problem = False, ""
            playback, self._playback = self._playback, None
        if playback is not None:
            self._hand.submit(playback.stop)

    def free(self) -> None:
        """Silence; returns when the output is free."""
        self.stop()
        self._hand.submit(lambda: None).result()

    def _start(self, piece: Callable[[], Piece] | None, row: int | None, *, moved: bool) -> None:
        """From a bar of the piece on, or from the count-in; None for what is open already."""
        self.stop()
        self.problem, self._wanted, self.moved = "", True, moved
        self._from_row = row if row is not None and row > 0 else None
        self._starting = self._hand.submit(self._started, piece, self._run)

    def _started(self, piece: Callable[[], Piece] | None, run: int) -> None:
        """In the thread: read, work out, start; nothing any more where the player has gone on meanwhile."""
        if run != self._run:
            return
        try:
            open_piece = self._piece if piece is None else piece()
            if open_piece is None:
                return
            from_us = None if self._from_row is None else open_piece.starts_us[self._from_row - 1]
            moved = self.moved
            playback = Playback(open_piece.make(), self._out_port(), from_us=from_us, moved=moved)
        except HeeltapError as error:
            with self._lock:
                if run == self._run:
                    self.problem, self._wanted = str(error), False
            return
        with self._lock:
            current = run == self._run
            if current:
                self._piece, self._playback = open_piece, playback
                if moved != self.moved:  # asked for while it was being opened
                    playback.hear(moved=self.moved)
        if not current:
            playback.stop()
