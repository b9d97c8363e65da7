"""A progress bar on stderr for long work, on terminals that can move their cursor.

Inside: `progress`.
"""

from collections.abc import Iterable, Iterator
from typing import TypeVar

from heeltap.cli.terminal import can_move

__all__ = ["progress"]

T = TypeVar("T")


def progress(work: Iterable[T], total: int) -> Iterator[T]:
    """The items of ``work`` as they come, with a bar of ``total`` steps beside them."""
    if not can_move():
        yield from work
        return
    # Here, not above: it costs 40 ms that a single file need not pay.
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        yield from bar.track(work, total=total, description="scoring")
