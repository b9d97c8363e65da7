"""Public docstrings of the pure packages are whole: parameters, what is returned, what is raised, where a formula is from."""

import pytest

from tests.makers.docstrings import PACKAGES, lacks, lacks_of_source


@pytest.mark.parametrize("package", PACKAGES)
def test_public_docstrings_are_whole(package: str) -> None:
    """Nothing is missing; ``python -m tests.makers.docstrings`` lists what is."""
    assert [] == lacks(package)


def test_the_count_sees_what_is_missing() -> None:
    """A function without its parts is named with each of them; private ones, properties and None are let be."""
    text = '''
def bare(a_ms: float, *, b: int) -> float:
    """The sum, milliseconds.

    Parameters
    ----------
    a_ms : float
        Milliseconds.
    """
    if b:
        raise ValueError
    return a_ms

def _private(a: int) -> int: ...

class Row:
    """A row."""

    @property
    def size(self) -> int:
        """How many."""

    def add(self, a: int) -> None:
        """Put it in."""
'''
    expected = ["bare: Parameters (b)", "bare: Returns", "bare: Raises", "bare: a source, or Ours"]

    assert [*expected, "Row.add: Parameters (a)", "Row.add: a source, or Ours"] == lacks_of_source(text, sources=True)


def test_a_whole_docstring_lacks_nothing() -> None:
    """Several parameters on one line count, and so does the source in the module's own docstring."""
    text = '''"""Sums. Ours."""

def add(a: int, b: int, *more: int) -> int:
    """The sum.

    Parameters
    ----------
    a, b : int
        Two numbers.
    *more : int
        Any others.

    Returns
    -------
    int
        Their sum.
    """
    return a + b + sum(more)
'''

    assert [] == lacks_of_source(text, sources=True)
