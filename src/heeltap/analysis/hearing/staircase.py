"""How large the next shift should be: a transformed up-down staircase.

After two right answers in a row the next one is smaller, after a wrong one it is larger, so that it hovers where 71 of 100
answers are right (Levitt 1971, "Transformed up-down methods in psychoacoustics", JASA 49:467-477, from memory). Steps are ratios.

Inside: `next_level_ms`, `FIRST_MS`, `LEVELS_MS`.
"""

from collections.abc import Sequence

__all__ = ["FIRST_MS", "LEVELS_MS", "next_level_ms"]

FIRST_MS = 70.0
"""Where it begins: everybody hears that. Ours."""

LEVELS_MS = (2.0, 160.0)
"""It never leaves this range. Ours."""

_COARSE, _FINE, _TURNS = 1.6, 1.25, 2
"""Ratio of the first steps, of the later ones, and after how many turns they are finer. Ours."""


def next_level_ms(levels_ms: Sequence[float], right: Sequence[bool]) -> float:
    """The size of the next shift or scatter.

    Parameters
    ----------
    levels_ms : sequence of float
        Those that were asked so far, milliseconds.
    right : sequence of bool
        Whether each answer was right.

    Returns
    -------
    float
        Milliseconds.

    Raises
    ------
    ValueError
        The two differ in length.
    """
    if len(levels_ms) != len(right):
        raise ValueError(f"next_level_ms: {len(levels_ms)} levels and {len(right)} answers; expected as many of both")
    level, in_a_row, turns, last_move = FIRST_MS, 0, 0, 0
    for answer in right:
        in_a_row = in_a_row + 1 if answer else 0
        move = -1 if in_a_row == 2 else 0 if answer else 1
        if move == 0:
            continue
        in_a_row = 0
        turns += move == -last_move
        last_move = move
        ratio = _FINE if turns >= _TURNS else _COARSE
        level = min(max(level * ratio**move, LEVELS_MS[0]), LEVELS_MS[1])
    return level
