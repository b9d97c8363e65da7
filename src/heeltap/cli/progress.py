"""A progress bar on stderr for long work, on terminals that can move their cursor.

The bar is gone whenever a command writes, so that lines and bar never mix.

Inside: `progress`, `moving_bar`.
"""

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from heeltap.cli.safe_stream import bare
from heeltap.cli.terminal import can_move

__all__ = ["moving_bar", "progress"]

T = TypeVar("T")

_WIDTH = 30
_GONE = "\r\x1b[K"
"""To the beginning of the line, and erase it (ECMA-48: EL)."""


def progress(work: Iterable[T], total: int) -> Iterator[T]:
    """The items of ``work`` as they come, with a bar of ``total`` steps beside them."""
    if not can_move():
        yield from work
        return
    _draw(_bar("scoring", 0, total))
    try:
        for done, item in enumerate(work, 1):
            _draw("")
            yield item
            _draw(_bar("scoring", done, total))
    finally:
        _draw("")


@contextmanager
def moving_bar(title: str) -> Iterator[Callable[[float], None] | None]:
    """A bar for work that says which share of it is done; None, and nothing drawn, where stderr is no terminal."""
    if not can_move():
        yield None
        return
    try:
        yield lambda share: _draw(_bar(title, round(100 * share), 100))
    finally:
        _draw("")


def _bar(title: str, done: int, total: int) -> str:
    """Such as ``scoring [######........................] 12 of 60``."""
    filled = _WIDTH * done // max(total, 1)
    return f"{title} [{'#' * filled}{'.' * (_WIDTH - filled)}] {done} of {total}"


def _draw(text: str) -> None:
    stream = bare(sys.stderr)
    stream.write(_GONE + text)
    stream.flush()
