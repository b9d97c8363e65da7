"""Comparing takes of one part: files or kept takes, in the order in which they were played.

Inside: `compare_takes`, `Compared`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Aim, Options, bars_to_replay, judge_take
from heeltap.analysis.compare.takes import Comparison, compare
from heeltap.app.score.read import Reading, load_plan
from heeltap.app.score.score import Ready, ready
from heeltap.errors import InputFileError
from heeltap.model.result import Replay

__all__ = ["Compared", "compare_takes"]


@dataclass(frozen=True, slots=True)
class Compared:
    """Takes held against each other."""

    names: tuple[str, ...]
    """One a take."""
    comparison: Comparison
    aim: Aim
    delay_known: bool
    """False: only differences between the takes are known, not which is nearer to the lean."""
    replay: tuple[tuple[Replay, ...], ...]
    """For each take, the bars worth playing again."""


def compare_takes(
    paths: Sequence[str | Path], reading: Reading | None = None, options: Options | None = None
) -> Compared:
    """Compare two or more takes of one part.

    Parameters
    ----------
    paths : sequence of paths
        MIDI files, or folders of kept takes, which bring their own plan and aim.
    reading, options : optional
        As for `heeltap.app.score.score.ready`; they hold for every take.

    Returns
    -------
    Compared

    Raises
    ------
    InputFileError
        Fewer than two takes, one that cannot be read, or takes of different plans.
    OptionError
        One of the takes cannot honour what was asked for.
    """
    if len(paths) < 2:
        raise InputFileError(", ".join(map(str, paths)) or "compare", "one take", "two or more to compare")
    asked = reading or Reading()
    if isinstance(asked.plan, str | Path):  # read once, not once a take
        asked = replace(asked, plan=load_plan(asked.plan, asked.part))
    takes = [ready(path, asked, options) for path in paths]
    _same_plan(takes)
    judged = [judge_take(take.played, take.options) for take in takes]
    _, source, aim = judged[0]
    found = compare(
        [one.offsets for one, _, _ in judged],
        lean_ms=aim.lean_ms,
        pocket_ms=aim.pocket_ms,
        metre=source.metre,
        same_plan=takes[0].played.plan is not None,
    )
    known = all(one.calibration.known for _, one, _ in judged)
    again = tuple(bars_to_replay(one, where, how).entries for one, where, how in judged)
    return Compared(tuple(take.played.file for take in takes), found, aim, known, again)


def _same_plan(takes: Sequence[Ready]) -> None:
    """Raise `InputFileError` for takes of different plans: nothing could be paired."""
    first = takes[0].played
    for played in (take.played for take in takes[1:]):
        if (first.plan is None) != (played.plan is None) or (
            first.plan is not None
            and played.plan is not None
            and not np.array_equal(first.plan.at_tick, played.plan.at_tick)
        ):
            raise InputFileError(
                played.file, "a take of another part", f"one of the same part as {first.file}", "name it with --plan"
            )
