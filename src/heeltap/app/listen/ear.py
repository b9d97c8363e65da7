"""Find out how small a shift or a scatter somebody hears: the questions, one after the other, and what the answers come to.

Two tasks. *Side*: is the part early or late against the drums? *Tighter*: which of two stretches is tighter? The material
is a plain pattern, or some bars of a take with every stroke where it belongs.

Inside: `Material`, `plain_material`, `material_of`, `Question`, `EarTest`, `PUBLISHED`, `ANSWERS`.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from heeltap.analysis.hearing.staircase import next_level_ms
from heeltap.analysis.hearing.threshold import Threshold, threshold_of_choices, threshold_of_sides
from heeltap.app.listen.hear import AHEAD_US, Heard, Listening
from heeltap.course.drum_patterns import hits_of
from heeltap.errors import InputFileError
from heeltap.files.hearings import HearingTest
from heeltap.files.toml.beats import read_beats
from heeltap.model.messages import Schedule, is_note_on, merge
from heeltap.model.notes import make_notes
from heeltap.model.timeline import steady_tempo
from heeltap.safe_text import safe_line
from heeltap.sound.drums import hits_schedule
from heeltap.sound.played import played_schedule
from heeltap.sound.stretches import BREATH_US, mark, stretch

__all__ = ["ANSWERS", "PUBLISHED", "EarTest", "Material", "Question", "material_of", "plain_material"]

ANSWERS = 64
"""Questions of a test: six to seven minutes. Ours."""

TASKS = ("side", "tighter")

PUBLISHED = (
    "In a groove of a whole band 64 listeners just heard shifts of 19 to 24 ms in kick, snare and hat, and of 31 to 35 ms in "
    "bass and guitar; late was harder to hear than early (28 against 23 ms)."
)
"""Preprint, doi 10.31234/osf.io/jsg94, abstract."""

_BPM, _BARS = 108.0, 2

_KEY = 72


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """What is heard: drums, and strokes that lie where they belong."""

    name: str
    backing: Schedule
    """From 0 on."""
    strokes: Schedule
    length_us: int


def plain_material() -> Material:
    """Two bars of the plain beat with a note on every quarter."""
    tempo, pattern = steady_tempo(_BPM), next(one for one in read_beats().values() if one.name == "plain")
    beat_us = round(60e6 / _BPM)
    end_us = 4 * _BARS * beat_us
    at_us = np.arange(4 * _BARS) * beat_us
    notes = make_notes(
        at_us, np.full(at_us.size, _KEY), np.full(at_us.size, 90), duration_us=np.full(at_us.size, 150_000)
    )
    backing = hits_schedule(hits_of(pattern, _BARS), tempo, end_us)
    return Material("a plain beat", backing, played_schedule(notes, end_us), end_us)


def material_of(heard: Heard, first_bar: int, last_bar: int) -> Material:
    """Some bars of a take, each stroke where it belongs.

    Parameters
    ----------
    heard : Heard
    first_bar, last_bar : int
        Of the take.

    Raises
    ------
    InputFileError
        Fewer than two strokes, in which nobody hears a shift or a scatter.
    """
    low, high = heard.starts_us[first_bar - 1], heard.starts_us[last_bar]
    strokes = heard.strokes("moved", low, high)
    if sum(map(is_note_on, strokes.messages)) < 2:
        raise InputFileError(
            heard.name, f"hardly a stroke in bars {first_bar}-{last_bar}", "bars with two strokes or more"
        )
    bars = f"bar {first_bar}" if first_bar == last_bar else f"bars {first_bar}-{last_bar}"
    backing = stretch(heard.backing, low, high, 0)
    return Material(f"{safe_line(heard.name)}, {bars}", backing, strokes, high - low)


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """One question."""

    heard: Listening
    right: str
    """The right answer: ``e`` or ``l``, ``1`` or ``2``."""
    level_ms: float
    """How far early or late; by how much the other one scatters, standard deviation."""


class EarTest:
    """A test of one task, question by question."""

    def __init__(
        self, task: str, material: Material, rng: np.random.Generator, *, fixed_ms: float | None = None
    ) -> None:
        """``fixed_ms`` asks for one size throughout, to train with; else each answer decides the next."""
        self.task, self.material = task, material
        self._rng, self._fixed_ms = rng, fixed_ms
        self.levels_ms: list[float] = []
        self.right: list[bool] = []
        self._shift_ms: list[float] = []

    @property
    def asked(self) -> int:
        """Questions that were answered."""
        return len(self.right)

    def question(self) -> Question:
        """The next question."""
        level = next_level_ms(self.levels_ms, self.right) if self._fixed_ms is None else self._fixed_ms
        return self._side(level) if self.task == "side" else self._tighter(level)

    def answer(self, question: Question, said: str) -> bool:
        """Take an answer; whether it is right."""
        self.levels_ms.append(question.level_ms)
        self._shift_ms.append(question.level_ms * (1 if question.right == "l" else -1))
        self.right.append(said == question.right)
        return self.right[-1]

    def threshold(self) -> Threshold | None:
        """What the answers come to so far; None where they are as good as guessed."""
        if self.task == "side":
            late = [(shift > 0) == right for shift, right in zip(self._shift_ms, self.right, strict=True)]
            return threshold_of_sides(self._shift_ms, late)
        return threshold_of_choices(self.levels_ms, self.right)

    def kept(self, date: str) -> HearingTest:
        """The test as it is kept."""
        found = self.threshold()
        low, high = (None, None) if found is None else found.ci95_ms
        return HearingTest(
            task=self.task,
            date=date,
            threshold_ms=None if found is None else found.value_ms,
            low_ms=low,
            high_ms=high,
            answers=self.asked,
            material=self.material.name,
        )

    def _side(self, level_ms: float) -> Question:
        late = bool(self._rng.integers(2))
        moved = _shifted(self.material.strokes, [level_ms if late else -level_ms])
        begin_us = AHEAD_US
        return Question(
            Listening(
                _at(self.material, moved, begin_us),
                (
                    (
                        begin_us,
                        "",
                    ),
                ),
            ),
            "l" if late else "e",
            level_ms,
        )

    def _tighter(self, level_ms: float) -> Question:
        first = bool(self._rng.integers(2))
        on = [is_note_on(message) for message in self.material.strokes.messages]
        moments = np.unique(self.material.strokes.due_us[on]).size
        scatter = self._rng.normal(0.0, 1.0, max(moments, 1))
        if moments > 1:
            scatter = (scatter - scatter.mean()) / max(float(scatter.std()), 1e-9)
        loose = _shifted(self.material.strokes, level_ms * scatter)
        order = (self.material.strokes, loose) if first else (loose, self.material.strokes)
        second_us = 2 * BREATH_US + self.material.length_us
        made = [mark(0, 1), _at(self.material, order[0], BREATH_US)]
        made += [mark(second_us - BREATH_US, 2), _at(self.material, order[1], second_us)]
        begins = ((BREATH_US, "1"), (second_us, "2"))
        return Question(Listening(merge(*made), begins), "1" if first else "2", level_ms)


def _at(material: Material, strokes: Schedule, at_us: int) -> Schedule:
    """Drums and strokes from a moment on."""
    backing = stretch(material.backing, 0, material.length_us, at_us)
    return merge(backing, stretch(strokes, -AHEAD_US, material.length_us, at_us - AHEAD_US))


def _shifted(strokes: Schedule, by_ms: npt.ArrayLike) -> Schedule:
    """The strokes so much later, one shift for each moment in turn, so that chords stay together.

    What lets a note go moves along.
    """
    on = np.array([is_note_on(message) for message in strokes.messages], dtype=bool)
    moments = np.unique(strokes.due_us[on])
    by_us = np.rint(1000 * np.resize(np.asarray(by_ms, dtype=np.float64), max(moments.size, 1))).astype(np.int64)
    due = strokes.due_us.copy()
    last: dict[tuple[int, int], int] = {}
    for row, message in enumerate(strokes.messages):
        key = message[0] & 0x0F, message[1]
        if on[row]:
            last[key] = int(by_us[np.searchsorted(moments, strokes.due_us[row])])
        due[row] += last.get(key, int(by_us[0]))
    order = np.argsort(due, kind="stable")
    return replace(
        strokes,
        due_us=due[order],
        messages=tuple(strokes.messages[i] for i in order),
        kind=tuple(strokes.kind[i] for i in order),
    )
