"""Begin, jump, change the version and stop while a screen plays a take or a plan.

The engine's process takes half a second to start, so a thread starts and stops it, one after the other: the screen stays
alive, and an output that only one program may open is free before heeltap opens it again.

Inside: `PlayerControl`, `Piece`, `piece_of_take`, `piece_of_drill`, `piece_of_click`, `sound_in_use`.
"""

import threading
from bisect import bisect_right
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.app.drill.backing import kept_sound
from heeltap.app.drill.drill import Drill
from heeltap.app.drill.from_settings import route_in_use
from heeltap.app.listen.playback import Playback, heard_plan, heard_take
from heeltap.errors import HeeltapError
from heeltap.files.settings import read_settings
from heeltap.files.takes.folder import load_take
from heeltap.model.messages import Schedule
from heeltap.model.plan import Plan
from heeltap.model.timeline import steady_metre, steady_tempo
from heeltap.sound.click import ClickSound, click_schedule

__all__ = ["Piece", "PlayerControl", "piece_of_click", "piece_of_drill", "piece_of_take", "sound_in_use"]

_STEP = 4
"""Bars that a jump goes: a phrase, in most of what is played here."""

_CLICK_BPM = 100.0
"""Of the click that is tried."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Something that can be heard."""

    starts_us: tuple[int, ...]
    """Where each bar begins, microseconds from bar 1, beat 1."""
    make: Callable[[bool], Schedule]
    """What is sent: as it was played, or, where true is given, with every stroke where it belongs."""
    what: tuple[str, str]
    """Both versions in words; two alike where there is only one."""


def piece_of_take(folder: Path, sound: ClickSound) -> Piece:
    """A kept take with its click; raises `TakeFileError`, `MidiFileError` where it cannot be read."""
    return Piece(
        _bar_starts_us(load_take(folder).plan),
        lambda moved: heard_take(folder, moved=moved, sound=sound),
        ("the take as played", "the take where it belongs"),
    )


def piece_of_drill(drill: Drill) -> Piece:
    """What is to be played."""
    return Piece(_bar_starts_us(drill.plan), lambda _: heard_plan(drill), ("what is to be played",) * 2)


def piece_of_click(sound: ClickSound) -> Piece:
    """Two bars of the click."""
    clicks = click_schedule(steady_tempo(_CLICK_BPM), steady_metre(), 2, count_in_bars=0, sound=sound)
    return Piece((0, clicks.end_us // 2), lambda _: clicks, ("the click",) * 2)


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
        self._from_bar: int | None = None
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
        """Where it stands, microseconds from bar 1, beat 1; None before it begins."""
        return None if self._playback is None or not self._wanted else self._playback.now_us

    @property
    def bar(self) -> int | None:
        """The bar that is heard, 0 in the count-in; None before it begins."""
        now_us = self.now_us
        return None if now_us is None or self._piece is None else bisect_right(self._piece.starts_us, now_us)

    @property
    def what(self) -> str:
        """What is heard, in words."""
        return "" if self._piece is None else self._piece.what[self.moved]

    @property
    def has_other(self) -> bool:
        """Whether there is another version."""
        return self._piece is not None and self._piece.what[0] != self._piece.what[1]

    @property
    def _bar_meant(self) -> int | None:
        """The bar that is heard, or will be once it sounds."""
        return self._from_bar if self._playback is None else self.bar

    def begin(self, piece: Callable[[], Piece]) -> None:
        """Hear something from its count-in on, as it was played. ``piece`` is called in a thread."""
        self._piece = None
        self._start(piece, None, moved=False)

    def other(self) -> None:
        """The other version, from the bar that is heard now."""
        if self.has_other:
            self._start(None, self._bar_meant, moved=not self.moved)

    def jump(self, steps: int) -> None:
        """So many times four bars on (back, where negative); not before the beginning, nor beyond the last four."""
        if self._piece is not None:
            last = (len(self._piece.starts_us) - 1) // _STEP
            group = (max(self._bar_meant or 1, 1) - 1) // _STEP + steps
            self._start(None, 1 + _STEP * min(max(group, 0), last), moved=self.moved)

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

    def _start(self, piece: Callable[[], Piece] | None, bar: int | None, *, moved: bool) -> None:
        """From a bar on, or from the count-in; None for what is open already."""
        self.stop()
        self.problem, self._wanted, self.moved = "", True, moved
        self._from_bar = bar if bar is not None and bar > 0 else None
        self._starting = self._hand.submit(self._started, piece, self._run)

    def _started(self, piece: Callable[[], Piece] | None, run: int) -> None:
        """In the thread: read, work out, start; nothing any more where the player has gone on meanwhile."""
        if run != self._run:
            return
        try:
            open_piece = self._piece if piece is None else piece()
            if open_piece is None:
                return
            from_us = None if self._from_bar is None else open_piece.starts_us[self._from_bar - 1]
            playback = Playback(open_piece.make(self.moved), self._out_port(), from_us=from_us)
        except HeeltapError as error:
            with self._lock:
                if run == self._run:
                    self.problem, self._wanted = str(error), False
            return
        with self._lock:
            current = run == self._run
            if current:
                self._piece, self._playback = open_piece, playback
        if not current:
            playback.stop()


def _bar_starts_us(plan: Plan) -> tuple[int, ...]:
    """When each bar begins."""
    quarters = np.array([float(plan.metre.quarter_of_bar(bar)) for bar in range(1, plan.bars + 1)])
    return tuple(int(us) for us in np.rint(plan.tempo.us_at_quarter(quarters)))
