"""The whole answer on a song: which take, which bars, which habit, what next.

Inside: `Answer`, `Habit`, `answer`, `THROUGHOUT_MS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.analyse import Aim, Source, judge_take, result_of
from heeltap.analysis.findings import NOTHING
from heeltap.analysis.offsets_of import Judged
from heeltap.app.score.compare import Compared, compare_ready
from heeltap.app.song.open_song import OpenSong
from heeltap.app.song.takes import SongTake
from heeltap.model.result import Result
from heeltap.wording import early_late

__all__ = ["THROUGHOUT_MS", "Answer", "Habit", "answer"]

THROUGHOUT_MS = 60.0
"""A whole take that lies further off than this was moved by the recording: nobody plays so far beside all the time. Ours."""

_TOGETHER_MS = 40.0
"""Half the strokes have to lie within this of each other before a shift is called one of the recording. Ours."""


@dataclass(frozen=True, slots=True)
class Habit:
    """What holds in several takes."""

    code: str
    takes: int
    """In how many of them."""
    text: str
    """As the last take that shows it says it."""


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Everything that is said about a song's takes."""

    title: str
    part: str
    names: tuple[str, ...]
    results: tuple[Result, ...]
    """One a take, in the order played."""
    compared: Compared | None
    """None where there is one take only."""
    habits: tuple[Habit, ...]
    """What holds in at least two takes and in at least half of them."""
    notes: tuple[str, ...]
    """What has to be said before any number: shifts of the recording, clips that were put at their place."""
    problems: tuple[str, ...]
    """Files that cannot be used, a line each."""


def answer(opened: OpenSong, takes: Sequence[SongTake], problems: Sequence[str] = ()) -> Answer:
    """Judge and compare the takes of a song.

    Parameters
    ----------
    opened : OpenSong
    takes : sequence of SongTake
        At least one, in the order played.
    problems : sequence of str
        What could not be used.

    Returns
    -------
    Answer
    """
    notes = [line for take in takes for line in take.notes]
    judged = []
    for number, take in enumerate(takes):
        one, moved, said = _judged(take)
        takes = [*takes[:number], moved, *takes[number + 1 :]]
        judged.append(one)
        notes += said
    results = tuple(result_of(*one) for one in judged)
    names = tuple(take.name for take in takes)
    compared = compare_ready(names, [take.ready for take in takes], judged) if len(takes) > 1 else None
    return Answer(
        opened.song.title, opened.song.part, names, results, compared, _habits(results), tuple(notes), tuple(problems)
    )


def _judged(take: SongTake) -> tuple[tuple[Judged, Source, Aim], SongTake, list[str]]:
    """A take, judged without the shift that its recording gave it, and what to say about that."""
    first = judge_take(take.ready.played, take.ready.options)
    offset = first[0].offsets.offset_ms
    if take.ready.options.delay_ms is not None or take.ready.played.plan is None or len(offset) == 0:
        return first, take, []
    low, shift_ms, high = (float(value) for value in np.percentile(offset, [25, 50, 75]))
    if abs(shift_ms) <= THROUGHOUT_MS or high - low > _TOGETHER_MS:
        return first, take, []
    notes = take.ready.played.notes
    moved = replace(notes, onset_us=notes.onset_us - round(1000 * shift_ms))
    ready = replace(take.ready, played=replace(take.ready.played, notes=moved))
    against = "the drums" if first[1].reference.kind == "leader" else "the click"
    said = (
        f"{take.name} lies {early_late(shift_ms)} against {against} throughout: that is the recording, not you. heeltap takes "
        f"it away. If all your takes have it, write recording_delay_ms = {shift_ms:.0f} into the song file."
    )
    return judge_take(ready.played, ready.options), replace(take, ready=ready), [said]


def _habits(results: Sequence[Result]) -> tuple[Habit, ...]:
    """The findings that come back, those of most takes first."""
    told: dict[str, list[str]] = {}
    for result in results:
        for finding in result.findings:
            if finding.code != NOTHING:
                told.setdefault(finding.code, []).append(finding.text)
    often = [Habit(code, len(texts), texts[-1]) for code, texts in told.items()]
    kept = [habit for habit in often if habit.takes >= 2 and 2 * habit.takes >= len(results)]
    return tuple(sorted(kept, key=lambda habit: -habit.takes))
