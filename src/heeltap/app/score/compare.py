"""Compare takes of one part, files or take folders, in the order in which you played them.

Inside: `compare_takes`, `compare_ready`, `Compared`, `in_order`, `names_of`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Aim, Options, Source, bars_to_replay, judge_take
from heeltap.analysis.compare.takes import Comparison, compare
from heeltap.analysis.offsets_of import Judged
from heeltap.app.score.read import load_plan
from heeltap.app.score.reading import Reading
from heeltap.app.score.score import Ready, ready
from heeltap.errors import InputFileError, OptionError, sentence
from heeltap.model.played import Played
from heeltap.model.result import Replay

__all__ = ["Compared", "compare_ready", "compare_takes", "in_order", "names_of"]


@dataclass(frozen=True, slots=True)
class Compared:
    """Takes held against each other."""

    names: tuple[str, ...]
    """One a take: the user's own."""
    comparison: Comparison
    aim: Aim
    delay_known: bool
    """False: only differences between the takes are known, not which is nearer to the lean."""
    replay: tuple[tuple[Replay, ...], ...]
    """For each take, the bars worth playing again."""
    against: str
    """The click or the drums, or the aim beside them, in words."""


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
        One of the takes cannot honour what was asked for, or some are measured against drums and others against the click.
    """
    if len(paths) < 2:
        raise InputFileError(", ".join(map(str, paths)) or "compare", "one take", "two or more to compare")
    asked = reading or Reading()
    if isinstance(asked.plan, str | Path):  # read once, not once a take
        asked = replace(asked, plan=load_plan(asked.plan, asked.part))
    paths = in_order(paths)
    takes = [ready(path, asked, options) for path in paths]
    _of_one_reference(paths, takes)
    return compare_ready(names_of(paths), takes, [judge_take(take.played, take.options) for take in takes])


def _of_one_reference(paths: Sequence[str | Path], takes: Sequence[Ready]) -> None:
    """Raise `OptionError` where some takes are measured against drums and others against the click: no difference between
    them would be the player's."""
    led = [str(path) for path, take in zip(paths, takes, strict=True) if take.played.leader is not None]
    if 0 < len(led) < len(takes):
        hint = "--leader click measures all of them against the click"
        raise OptionError(sentence(led[0], "is measured against drums", "the click, as the others are", hint))


def compare_ready(
    names: Sequence[str], takes: Sequence[Ready], judged: Sequence[tuple[Judged, Source, Aim]]
) -> Compared:
    """Compare two or more takes that were read and judged.

    Parameters
    ----------
    names : sequence of str
        One a take.
    takes : sequence of Ready
        In the order played.
    judged : sequence of (Judged, Source, Aim)
        Of each of them, by `heeltap.analysis.analyse.judge_take`.

    Returns
    -------
    Compared

    Raises
    ------
    InputFileError
        Takes of different plans.
    """
    same_part = _same_part(takes)
    _, source, aim = judged[0]
    known = all(one.calibration.known for _, one, _ in judged)
    found = compare(
        [one for one, _, _ in judged],
        lean_ms=aim.lean_ms,
        pocket_ms=aim.pocket_ms,
        delay_known=known,
        same_part=same_part,
    )
    again = tuple(bars_to_replay(one, where, how).entries for one, where, how in judged)
    against = "the drums" if source.reference.kind == "leader" else "the click"
    if aim.lean_ms:
        against = f"your aim, {abs(aim.lean_ms):.0f} ms {'behind' if aim.lean_ms > 0 else 'ahead of'} {against}"
    return Compared(tuple(names), found, aim, known, again, against)


def in_order(paths: Sequence[str | Path]) -> list[Path]:
    """The takes in the order played.

    Names that differ only in their numbers say it themselves, such as ``take2`` and ``take10`` or the dates of kept
    takes, however a shell sorted them. Other names stay as they were given.

    Parameters
    ----------
    paths : sequence of paths

    Returns
    -------
    list of Path
    """
    given = [Path(path) for path in paths]
    if len({re.sub(r"\d+", "#", path.name) for path in given}) > 1:
        return given
    return sorted(given, key=lambda path: [int(number) for number in re.findall(r"\d+", path.name)])


def names_of(paths: Sequence[Path]) -> tuple[str, ...]:
    """What takes are called: their files without suffix, with the folder where two would be called the same.

    Parameters
    ----------
    paths : sequence of paths

    Returns
    -------
    tuple of str
    """
    names = [path.stem if path.suffix.lower() in _SUFFIXES else path.name for path in paths]
    return tuple(
        name if names.count(name) == 1 else f"{path.parent.name}/{name}"
        for path, name in zip(paths, names, strict=True)
    )


_SUFFIXES = (".mid", ".midi", ".kar", ".rmi", ".smf")

_MADE = re.compile(r"([a-z]+-[a-z0-9-]+)_\d+-\d+_s\d+")
"""Name of a generated exercise: family and grade, then metre and seed."""


def _same_part(takes: Sequence[Ready]) -> bool:
    """Whether all takes are of one part; False for one exercise with other seeds. Raises `InputFileError` for others."""
    first = takes[0].played
    for played in (take.played for take in takes[1:]):
        if (first.plan is None) == (played.plan is None) and (
            first.plan is None or played.plan is None or np.array_equal(first.plan.at_tick, played.plan.at_tick)
        ):
            continue
        kinds = {_kind(take.played) for take in takes}
        if len(kinds) == 1 and kinds != {""}:
            return False
        raise InputFileError(
            played.file, "a take of another part", f"one of the same part as {first.file}", "name it with --plan"
        )
    return True


def _kind(played: Played) -> str:
    """Family and grade of a generated exercise; empty for anything else."""
    made = None if played.plan is None else _MADE.fullmatch(played.plan.name)
    return "" if made is None else made[1]
