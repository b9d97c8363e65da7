"""The figures of the code are counted as they say, and the house's limits hold."""

import ast

import pytest

from tests.makers.code_figures import OURS, complexity, figures_of, length

SOURCE = '''
def outer(rows: list[int]) -> int:
    """One line,

    and two more.
    """
    total = 0
    for row in rows:
        if row and row > 1 or row < -1:
            total += row
    return sum(x for x in rows if x) if total else 0
'''


def test_length_leaves_the_docstring_out() -> None:
    """Ten lines from ``def`` to the end, four of them docstring: six are left."""
    (function,) = ast.parse(SOURCE).body

    assert isinstance(function, ast.FunctionDef)
    assert 6 == length(function)


def test_complexity_counts_every_branch() -> None:
    """One, a loop, an if, two more operands, a ternary, a comprehension and its condition."""
    (function,) = ast.parse(SOURCE).body

    assert isinstance(function, ast.FunctionDef)
    assert 1 + 1 + 1 + 2 + 1 + 2 == complexity(function)


@pytest.mark.slow
def test_hardly_any_function_is_long() -> None:
    """At most one function in a hundred is longer than the house's 35 lines, and every public one has a docstring."""
    ours = figures_of("heeltap", OURS)

    assert ours.long_percent <= 1.0
    assert ours.documented_percent == 100.0
