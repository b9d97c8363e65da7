"""The whole answer on a song: which take, which bars, which habit, what next.

Inside: `Answer`, `Habit`, `SongBars`, `answer`, `drummer_ms`, `THROUGHOUT_MS`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from heeltap.analysis.analyse import Aim, Source, judge_take, result_of
from heeltap.analysis.compare.habits import BarHabit, bars_that_come_back
from heeltap.analysis.findings import NOTHING
from heeltap.analysis.offsets_of import Judged
from heeltap.app.score.compare import Compared, compare_ready
from heeltap.app.song.band import Band, band_of
from heeltap.app.song.open_song import OpenSong
from heeltap.app.song.takes import SongTake
from heeltap.model.arrays import FloatArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan import Section
from heeltap.model.result import Result
from heeltap.wording import early_late

__all__ = ["THROUGHOUT_MS", "Answer", "Habit", "SongBars", "answer", "drummer_ms"]

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


@dataclass(frozen=True, slots=True)
class SongBars:
    """Bars that come back, and whose doing they are."""

    habit: BarHabit
    where: str
    """In words: before, at the beginning of, or in a section; empty where the song has none."""
    drummer_ms: float
    """Where the drummer lies there against the click, beside his own middle; negative is early. 0 where the click leads."""

    @property
    def is_the_drummers(self) -> bool:
        """Whether the drummer moves there and the player stays with the click."""
        left = self.habit.mean_ms + self.drummer_ms
        return abs(left) < abs(self.habit.mean_ms) / 2


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Everything that is said about a song's takes."""

    title: str
    part: str
    names: tuple[str, ...]
    results: tuple[Result, ...]
    """One a take, in the order played."""
    judged: tuple[Judged, ...]
    """The same before anything is said of it."""
    compared: Compared | None
    """None where there is one take only."""
    habits: tuple[Habit, ...]
    """What holds in at least two takes and in at least half of them."""
    bars: tuple[SongBars, ...]
    """Bars in which the player is early or late again and again; asked from five takes on."""
    band: Band | None
    """The player's part among drums and other parts; None where the song has no drums."""
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
        title=opened.song.title,
        part=opened.song.part,
        names=names,
        results=results,
        judged=tuple(one for one, _, _ in judged),
        compared=compared,
        habits=_habits(results),
        bars=_bars(opened, [one.offsets for one, _, _ in judged]),
        band=band_of(opened, [one for one, _, _ in judged], results[0].calibration),
        notes=tuple(notes),
        problems=tuple(problems),
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


def _bars(opened: OpenSong, tables: Sequence[Offsets]) -> tuple[SongBars, ...]:
    """The bars that come back, each with its place in the song and with what the drummer does there."""
    found = bars_that_come_back(tables)
    if not found:
        return ()
    drummer = drummer_ms(opened)
    return tuple(
        SongBars(one, _where(opened.timeline.sections, one), float(drummer[one.first_bar - 1 : one.last_bar].mean()))
        for one in found
    )


def drummer_ms(opened: OpenSong) -> FloatArray:
    """Where the drummer lies in each bar against the click, beside his own middle.

    Parameters
    ----------
    opened : OpenSong

    Returns
    -------
    float64, shape (bars,)
        Milliseconds, negative is early; zeros where the click leads.
    """
    time, bars = opened.timeline, np.arange(1, opened.bars + 1)
    if opened.drummer is None:
        return np.zeros(bars.size)
    middle = (time.metre.quarter_of_bar(bars) + time.metre.quarter_of_bar(bars + 1)) / 2
    lies_ms, _ = opened.drummer.reference_ms_at(middle)
    return np.asarray(lies_ms - np.median(lies_ms), dtype=np.float64)


def _where(sections: Sequence[Section], habit: BarHabit) -> str:
    """Where bars lie in the song."""
    inside = ""
    for section in sections:
        if habit.first_bar < section.first_bar <= habit.last_bar + 1:
            return f"going into {section.name}"
        if section.first_bar <= habit.first_bar <= section.last_bar:
            begins = habit.first_bar == section.first_bar
            inside = f"at the beginning of {section.name}" if begins else f"in {section.name}"
    return inside


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
