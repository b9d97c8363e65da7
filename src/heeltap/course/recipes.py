"""What a family's data says, as types, and how one bar is made from one recipe.

Recipes: a short line that holds in every metre
-----------------------------------------------
``back:beat last:eighths`` reads: the beat itself on the answering beats, eighths on the last one, the rest is silent.
Left of the colon stands a place among the felt beats of the bar (`BEAT_WORDS`), right of it the name of a cell, or several
with ``|`` between them of which the seed picks one for each beat. A later word overrules an earlier one. ``-`` is a bar
of rest. Several voices are written ``left=strong:beat; right=back:beat``; a voice not named rests.

A cell is counting text for one felt beat, once for each length that a felt beat has: one unit (4/4), two and three
(7/8), three (6/8).

Inside: `Draws`, `Cells`, `FillRecipe`, `SectionRecipe`, `Grade`, `Family`, `BEAT_WORDS`, `fill_bar`, `build_bar`,
`check_recipe`.
"""

import difflib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeVar

from heeltap.errors import PlanError, sentence
from heeltap.model.counting import BarStrokes, counting_text, parse_counting, unit_ticks
from heeltap.model.exercise import ClickPlan, Voice, felt_beats
from heeltap.model.timeline import Metre

__all__ = [
    "BEAT_WORDS",
    "Cells",
    "Draws",
    "Family",
    "FillRecipe",
    "Grade",
    "SectionRecipe",
    "build_bar",
    "check_recipe",
    "fill_bar",
]

BEAT_WORDS = ("one", "strong", "back", "last", "all", "others", "any")
"""Places among the felt beats: the first; those that carry the bar; those that answer; the last; all; those that no
other word of the line names; one of those, picked by the seed, which ``others`` after it leaves alone."""

Cells = Mapping[str, tuple[str, str, str]]
"""Counting text of each cell for a felt beat of one, two and three units."""

_Item = TypeVar("_Item")


class Draws:
    """An endless stream of whole numbers, the same on every machine and version: SHA-256 of key and counter."""

    def __init__(self, *key: object) -> None:
        self._key = "/".join(str(part) for part in key)
        self._count = 0

    def below(self, limit: int) -> int:
        """A whole number from 0 to ``limit - 1``, each as likely as the other (to 1 in 2**64 / limit).

        Parameters
        ----------
        limit : int
            At least 1.

        Returns
        -------
        int
        """
        text = f"{self._key}/{self._count}".encode()
        self._count += 1
        return int.from_bytes(hashlib.sha256(text).digest()[:8], "big") * limit >> 64

    def pick(self, items: Sequence[_Item]) -> _Item:
        """One of the items; nothing is drawn where there is only one.

        Parameters
        ----------
        items : sequence
            At least one.

        Returns
        -------
        item
        """
        return items[self.below(len(items))] if len(items) > 1 else items[0]

    def order(self, count: int) -> list[int]:
        """The numbers from 0 to ``count - 1`` in a drawn order.

        Parameters
        ----------
        count : int

        Returns
        -------
        list of int
        """
        left = list(range(count))
        return [left.pop(self.below(len(left))) for _ in range(count)]


@dataclass(frozen=True, slots=True)
class FillRecipe:
    """What replaces the groove at the end of a section."""

    pulses: int
    """Felt beats that it lasts, back from the section's last; more than a bar has is the whole bar."""
    cells: tuple[str, ...]
    """The seed picks one for each felt beat."""
    bars: int = 0
    """Whole bars before that which are fill too."""
    voice: str = ""
    """Who plays it; empty is the first voice. The others rest meanwhile."""


@dataclass(frozen=True, slots=True)
class SectionRecipe:
    """One section of an exercise."""

    name: str
    bars: int
    """Length when the exercise has its usual length, else its share."""
    phrase: tuple[tuple[str, ...], ...]
    """Bar after bar, then over again; of each bar's recipes the seed picks one."""
    landing: tuple[str, ...] = ()
    """Recipes of the section's first bar; empty: the phrase's."""
    fill: FillRecipe | None = None


@dataclass(frozen=True, slots=True)
class Grade:
    """One step of a family. Its name is what it is known by: another grade may be put in before it."""

    name: str
    """Letters, digits and hyphens, such as ``off-beats``."""
    title: str
    aim: str
    tempo_bpm: float
    """Felt beats a minute (dotted quarters in 6/8 and 12/8), quarters in 7/8."""
    most_per_s: float
    """Never more strokes a second than this between two neighbours."""
    voices: tuple[Voice, ...]
    sections: tuple[SectionRecipe, ...]
    openings: tuple[tuple[str, ...], ...]
    """Ways to begin, each a list of bars that replace the first of the first section."""
    click: ClickPlan = field(default_factory=ClickPlan)
    swing_ratio: float = 1.0
    """Used in metres counted in quarters; the cell ``swung`` writes it out in the others."""
    accent: str = ""
    """Place whose strokes are accented."""
    number: int = 0
    """What takes and sets from before grades had names call it, and always will; 0 for a grade that came later."""
    titles: Mapping[str, str] = field(default_factory=dict)
    """Title by metre where the usual one would be wrong there; ``other`` stands for every metre but 4/4."""
    aims: Mapping[str, str] = field(default_factory=dict)
    """Aim by metre, in the same way."""

    def text_in(self, metre: Metre) -> tuple[str, str]:
        """Title and aim that are true in a metre.

        Parameters
        ----------
        metre : Metre

        Returns
        -------
        title, aim : str
        """
        ways = (str(metre),) if str(metre) == "4/4" else (str(metre), "other")
        title = next((self.titles[way] for way in ways if way in self.titles), self.title)
        return title, next((self.aims[way] for way in ways if way in self.aims), self.aim)


@dataclass(frozen=True, slots=True)
class Family:
    """A family of graded exercises."""

    name: str
    title: str
    aim: str
    grades: tuple[Grade, ...]


def _pulse_lengths(metre: Metre) -> tuple[int, ...]:
    starts = (*felt_beats(metre).starts, metre.count + 1)
    return tuple(b - a for a, b in pairwise(starts))


def _indices(place: str, metre: Metre) -> tuple[int, ...]:
    """Numbers from 0 of the felt beats that a place means."""
    pulses = felt_beats(metre)
    chosen = {
        "one": pulses.starts[:1],
        "strong": pulses.strong,
        "back": pulses.back,
        "last": pulses.starts[-1:],
        "all": pulses.starts,
    }[place]
    return tuple(pulses.starts.index(unit) for unit in chosen)


def _cell(name: str, length: int, start: int, metre: Metre, cells: Cells) -> BarStrokes:
    """The strokes of one cell on the felt beat that starts at unit ``start`` (from 0)."""
    if name == "rest":
        return BarStrokes()
    inside = parse_counting(cells[name][length - 1], Metre(length, metre.unit))
    return BarStrokes(tuple(at + start * unit_ticks(metre) for at in inside.at_tick), inside.accent)


def _choose(line: str, metre: Metre, draws: Draws) -> list[str]:
    """The cell of every felt beat of one voice's line."""
    count = len(felt_beats(metre).starts)
    words = [word.partition(":")[::2] for word in line.split()] if line.strip() != "-" else []
    named = {i for place, _ in words if place not in ("others", "any") for i in _indices(place, metre)}
    free = [i for i in range(count) if i not in named]
    chosen = ["rest"] * count
    for place, names in words:
        if place == "any":
            where = [draws.pick(free)] if free else []
            free = [i for i in free if i not in where]
        else:
            where = free if place == "others" else list(_indices(place, metre))
        for index in where:
            chosen[index] = draws.pick(names.split("|"))
    return chosen


def _line(chosen: Sequence[str], metre: Metre, cells: Cells, accent: str) -> str:
    """Counting text of one voice's bar from the cell of every felt beat."""
    starts = felt_beats(metre).starts
    loud = {(starts[i] - 1) * unit_ticks(metre) for i in _indices(accent, metre)} if accent else set()
    at: list[int] = []
    for name, length, start in zip(chosen, _pulse_lengths(metre), starts, strict=True):
        at += _cell(name, length, start - 1, metre, cells).at_tick
    return counting_text(BarStrokes(tuple(at), tuple(tick in loud for tick in at)), metre)


def build_bar(
    recipe: str, metre: Metre, voices: Sequence[Voice], cells: Cells, draws: Draws, *, accent: str = ""
) -> tuple[str, ...]:
    """Counting text of every voice for one bar of a recipe.

    Parameters
    ----------
    recipe : str
        Such as "back:beat fore:eighths|pair".
    metre : Metre
    voices : sequence of Voice
    cells : Cells
        What the recipe names, by name.
    draws : Draws
        Choose where the recipe leaves a choice.
    accent : str
        Beat word whose strokes get an accent; empty for none.

    Returns
    -------
    tuple of str
        One counting text a voice, "-" for a rest.
    """
    lines = _by_voice(recipe, voices)
    return tuple(_line(_choose(lines.get(voice.name, "-"), metre, draws), metre, cells, accent) for voice in voices)


def _by_voice(recipe: str, voices: Sequence[Voice]) -> dict[str, str]:
    if "=" not in recipe:
        return {voices[0].name: recipe}
    return {name.strip(): line for name, _, line in (part.partition("=") for part in recipe.split(";"))}


def fill_bar(
    lines: Sequence[str],
    fill: FillRecipe,
    pulses: int,
    metre: Metre,
    voices: Sequence[Voice],
    cells: Cells,
    draws: Draws,
) -> tuple[tuple[str, ...], int]:
    """The bar with its last ``pulses`` felt beats replaced by the fill, and the unit on which the fill starts.

    Parameters
    ----------
    lines : sequence of str
        Counting text of the bar, one a voice.
    fill : FillRecipe
    pulses : int
        Felt beats that the fill takes.
    metre : Metre
    voices : sequence of Voice
    cells : Cells
    draws : Draws

    Returns
    -------
    (tuple of str, int)
        One counting text a voice, and the unit of the bar, from 1, on which the fill starts.
    """
    starts, lengths = felt_beats(metre).starts, _pulse_lengths(metre)
    first = max(0, len(starts) - pulses)
    cut = (starts[first] - 1) * unit_ticks(metre)
    player = fill.voice or voices[0].name
    made = []
    for voice, text in zip(voices, lines, strict=True):
        old = parse_counting(text, metre)
        kept = [(at, loud) for at, loud in zip(old.at_tick, old.accent, strict=True) if at < cut]
        if voice.name == player:
            for index in range(first, len(starts)):
                cell = _cell(draws.pick(fill.cells), lengths[index], starts[index] - 1, metre, cells)
                kept += [(at, False) for at in cell.at_tick]
        made.append(counting_text(BarStrokes(tuple(at for at, _ in kept), tuple(loud for _, loud in kept)), metre))
    return tuple(made), starts[first]


def check_recipe(recipe: str, voices: Sequence[Voice], cells: Cells, where: str) -> None:
    """Check that a recipe can be read.

    Parameters
    ----------
    recipe : str
    voices : sequence of Voice
    cells : Cells
    where : str
        What the message begins with.

    Raises
    ------
    PlanError
        The recipe names a voice, beat word or cell that there is not; the message names the nearest.
    """
    for name, line in _by_voice(recipe, voices).items():
        _known(name, [voice.name for voice in voices], where, "voice")
        if line.strip() == "-":
            continue
        for word in line.split():
            place, colon, names = word.partition(":")
            _known(place, BEAT_WORDS, where, "beat word")
            if not colon:
                raise PlanError(sentence(where, f"'{word}'", "beats:cell, such as back:beat"))
            for cell in names.split("|"):
                _known(cell, ("rest", *cells), where, "cell")


def _known(word: str, known: Sequence[str], where: str, what: str) -> None:
    if word not in known:
        near = difflib.get_close_matches(word, known, 1, 0.3)
        hint = f"nearest: {near[0]}" if near else ""
        raise PlanError(sentence(where, f"{what} '{word}'", "one of " + ", ".join(known), hint))
