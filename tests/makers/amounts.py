"""How much of a simulation a run takes: a share in the fast half, all of it where the slow tests run, too.

``./check all``, ``pytest -m slow`` and every other run that does not leave the slow tests out take the whole.
"""

from collections.abc import Sequence
from typing import TypeVar

__all__ = ["amount", "share"]

_Item = TypeVar("_Item")

whole = False
"""Set by ``tests/conftest.py`` before any test module is imported."""


def share(items: Sequence[_Item], *, every: int) -> Sequence[_Item]:
    """Every so-many-th item in the fast half, beginning with the first; all of them in a whole run."""
    return items if whole else items[::every]


def amount(count: int, *, fast: int) -> int:
    """How many of something: ``fast`` in the fast half, ``count`` in a whole run."""
    return count if whole else fast
