"""How far you are with an exercise of a set, in figures and in words.

A take counts where its exercise has the same name and seed and you played it to its end, even if you did not begin it from
the set.

Inside: `Standing`, `standing_of`, `standing_words`, `counts_words`, `marks_words`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from heeltap.app.practice.sets import OpenSet, Work
from heeltap.model.past_take import PastTake
from heeltap.model.practice_set import Done, is_done, meets
from heeltap.wording import count

__all__ = ["Standing", "counts_words", "marks_words", "standing_of", "standing_words"]

_SAME_BPM = 0.5
"""Two tempi closer than this are the same: files keep a tempo to a microsecond a beat."""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """How far a player is with one exercise of a set, at one of its tempi."""

    set_title: str
    work: Work
    tempo_bpm: float
    """Quarter notes a minute: the tempo that was asked about, else the first that is not done, else the last."""
    takes: tuple[PastTake, ...]
    """At that tempo, the earliest first."""
    met: int
    """How many of them meet the set's marks."""
    done: bool
    """Every tempo of the exercise is done."""

    @property
    def wanted(self) -> int:
        """How many more takes the set asks for at this tempo; 0 where it is done.

        Returns
        -------
        int
        """
        return max(0, self.work.item.takes - len(self.takes), self.work.item.done.takes - self.met)


def standing_of(opened: OpenSet, work: Work, past: Sequence[PastTake], tempo_bpm: float | None = None) -> Standing:
    """How far a player is with an exercise of a set.

    Parameters
    ----------
    opened : OpenSet
    work : Work
        One of its exercises.
    past : sequence of PastTake
        The player's takes, the earliest first.
    tempo_bpm : float, optional
        Quarter notes a minute, one of the exercise's tempi; the first that is not done where not given.

    Returns
    -------
    Standing
    """
    name = Path(work.path).stem if work.item.exercise is None else work.item.exercise.name
    mine = [take for take in past if (take.exercise, take.seed, take.ending) == (name, work.seed, "played")]
    at_tempo = {bpm: tuple(take for take in mine if _same(take.tempo_bpm, bpm)) for bpm in work.tempi_bpm}
    done = {bpm: _enough(work, takes) for bpm, takes in at_tempo.items()}
    asked = next((bpm for bpm in work.tempi_bpm if tempo_bpm is not None and _same(bpm, tempo_bpm)), None)
    bpm = asked or next((bpm for bpm in work.tempi_bpm if not done[bpm]), work.tempi_bpm[-1])
    met = sum(_meets(work, take) for take in at_tempo[bpm])
    return Standing(opened.set.title, work, bpm, at_tempo[bpm], met, all(done.values()))


def _same(bpm: float, other_bpm: float) -> bool:
    return abs(bpm - other_bpm) < _SAME_BPM


def _enough(work: Work, takes: Sequence[PastTake]) -> bool:
    """Whether these takes are as many as the set asks for, and enough of them meet its marks."""
    figures = ((take.in_pocket, take.spread_ms) for take in takes)
    return len(takes) >= work.item.takes and is_done(work.item.done, figures)


def _meets(work: Work, take: PastTake) -> bool:
    return meets(work.item.done, in_pocket=take.in_pocket, spread_ms=take.spread_ms)


def marks_words(done: Done) -> str:
    """What a set asks of a take: "at least 70 % in the pocket, a spread of 25 ms at most"; empty where it asks nothing.

    Parameters
    ----------
    done : Done

    Returns
    -------
    str
    """
    pocket = [] if done.in_pocket_percent is None else [f"at least {done.in_pocket_percent:g} % in the pocket"]
    spread = [] if done.spread_ms is None else [f"a spread of {done.spread_ms:g} ms at most"]
    return " and ".join([*pocket, *spread])


def standing_words(standing: Standing) -> str:
    """What the set asks for, and what of it you have, in two sentences.

    Parameters
    ----------
    standing : Standing

    Returns
    -------
    str
    """
    item = standing.work.item
    marks = marks_words(item.done)
    asked = f"{standing.set_title}, exercise {standing.work.number}: {_takes(item.takes)} at {standing.tempo_bpm:g} bpm"
    if marks:
        asked += f", {_of_them(item.done.takes, item.takes)} with {marks}"
    return f"{asked}. {_left(standing)}"


def _takes(number: int) -> str:
    return count(number, "take")


def _of_them(number: int, of: int) -> str:
    return "each" if number >= of else f"{number} of them"


def _left(standing: Standing) -> str:
    """How many takes you have and how many are still wanted."""
    if standing.done:
        return "You have done it."
    if not standing.wanted:
        return "You have done this tempo."
    have = f"You have {len(standing.takes) or 'none'} so far"
    return f"{have}; play {standing.wanted} more."


def counts_words(standing: Standing, folder: str) -> str:
    """Whether a take counts for the set, why not where it does not, and how many are still wanted.

    Parameters
    ----------
    standing : Standing
        With that take among its takes, where it counts at all.
    folder : str
        Name of the take's folder.

    Returns
    -------
    str
        One or two sentences.
    """
    take = next((one for one in standing.takes if one.folder == folder), None)
    if take is None:
        return (
            f"This take does not count for your set: play all of it at {standing.tempo_bpm:g} bpm, from the first bar to "
            "the last."
        )
    if _meets(standing.work, take):
        return f"This take counts for your set. {_left(standing)}"
    return f"This take misses the marks of your set ({marks_words(standing.work.item.done)}). {_left(standing)}"
