"""Comparing takes of one part: files or kept takes, in the order in which they were played.

Inside: `compare_takes`, `Compared`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Aim, bars_to_replay
from heeltap.analysis.compare.takes import Comparison, compare
from heeltap.app.score.read import Played, load_plan, read_take
from heeltap.app.score.score import Options, judge_take
from heeltap.app.takes.finish_take import load_scored_inputs
from heeltap.errors import InputFileError
from heeltap.files.takes.folder import take_of
from heeltap.model.plan import Plan
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
    paths: Sequence[str | Path],
    *,
    part: str | None = None,
    plan: str | Path | None = None,
    sections: str | None = None,
    options: Options | None = None,
) -> Compared:
    """Compare two or more takes of one part.

    Parameters
    ----------
    paths : sequence of paths
        MIDI files, or folders of kept takes, which bring their own plan and aim.
    part, plan, sections
        As in `heeltap.score_file`; for MIDI files.

    Raises
    ------
    InputFileError
        Fewer than two takes, one that cannot be read, or takes of different plans.
    """
    if len(paths) < 2:
        raise InputFileError(", ".join(map(str, paths)) or "compare", "one take", "two or more to compare")
    planned = None if plan is None else load_plan(plan, part)
    takes = [_take(Path(path), part, planned, sections, options or Options()) for path in paths]
    _same_plan(takes)
    judged = [judge_take(played, how) for played, how in takes]
    _, source, aim = judged[0]
    found = compare(
        [one.offsets for one, _, _ in judged],
        lean_ms=aim.lean_ms,
        pocket_ms=aim.pocket_ms,
        metre=source.metre,
        same_plan=takes[0][0].plan is not None,
    )
    known = all(one.calibration.known for _, one, _ in judged)
    again = tuple(bars_to_replay(one, where, how) for one, where, how in judged)
    return Compared(tuple(played.file for played, _ in takes), found, aim, known, again)


def _take(
    path: Path, part: str | None, plan: Plan | None, sections: str | None, options: Options
) -> tuple[Played, Options]:
    """One take and how it is judged."""
    folder = take_of(path)
    if folder is not None and plan is None:
        return load_scored_inputs(folder)
    return read_take(path, part=part, plan=plan, sections=sections), options


def _same_plan(takes: Sequence[tuple[Played, Options]]) -> None:
    """Raise `InputFileError` for takes of different plans: nothing could be paired."""
    first = takes[0][0]
    for played, _ in takes[1:]:
        if (first.plan is None) != (played.plan is None) or (
            first.plan is not None
            and played.plan is not None
            and not np.array_equal(first.plan.at_tick, played.plan.at_tick)
        ):
            raise InputFileError(
                played.file, "a take of another part", f"one of the same part as {first.file}", "name it with --plan"
            )
