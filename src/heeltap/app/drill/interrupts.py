"""Ctrl-C, a kill and a closed terminal as a flag.

Inside: `interrupts`.
"""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["interrupts"]


@contextmanager
def interrupts() -> Iterator[threading.Event]:
    """Ctrl-C, a kill and a closed terminal set a flag while this lasts, so that no take is torn by them.

    Outside the main thread nothing changes: signals never arrive there.
    """
    flag = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield flag
        return
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    before = {getattr(signal, name): signal.getsignal(getattr(signal, name)) for name in names if hasattr(signal, name)}
    for number in before:
        signal.signal(number, lambda *_: flag.set())
    try:
        yield flag
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
