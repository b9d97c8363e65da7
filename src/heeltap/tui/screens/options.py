"""How an exercise is played: its metre, tempo, click or drums, lean, and when the numbers show.

Inside: the model `OptionRow`, listed by `option_rows`; the drawing `draw_options`; the screen `OptionsScreen`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from heeltap.app.drill.changes import tempo_of
from heeltap.app.drill.drill import Drill, as_offered
from heeltap.app.drill.from_settings import OWN_CLICK, DrillChoice, drill_chosen
from heeltap.errors import HeeltapError
from heeltap.files.toml.beats import read_beats
from heeltap.files.toml.exercises import exercise_from_toml
from heeltap.model import tempo_step
from heeltap.model.exercise import METRES, click_text
from heeltap.model.lean import AUTO, ON_THE_BEAT, Lean
from heeltap.session.session import Feedback
from heeltap.sound.click import CLICK_SOUNDS
from heeltap.tui.keys import HELP, MOVE, QUIT, Key
from heeltap.tui.page import Look, page, room_of, wrapped_lines
from heeltap.tui.screen import Host, QuietScreen
from heeltap.tui.screens.drill import rows_of_drill
from heeltap.tui.screens.set_up import label_line
from heeltap.views.bar_sheet import Line

__all__ = ["OPTIONS_HELP", "OPTIONS_KEYS", "OptionRow", "OptionsScreen", "draw_options", "option_rows"]

OPTIONS_KEYS = (
    Key("enter", "play", "go to the drill screen with all of this"),
    Key("left", "", "the choice before, for the chosen line", "left"),
    Key("right", "change", "the next choice for the chosen line", "right"),
    MOVE,
    Key("escape", "back", "back to the exercises", "esc"),
    HELP,
    QUIT,
)

OPTIONS_HELP = (
    "What you choose here holds for this drill. A lean is where you aim: so many milliseconds behind the beat, or with auto "
    "4 % of the beat. Drums play in place of the click, after the count-in; exercises for the changes begin with them.",
)

_Choice = TypeVar("_Choice")

_LOWEST_BPM, _HIGHEST_BPM = 20.0, 300.0

_CLICKS = {
    "every": "every beat",
    "eighths": "every eighth",
    "backbeat": "the answering beats",
    "one": "the one only",
    "bars 2+2": "two bars on, two bars off",
    "fade": "fades out",
    "none": "the count-in only",
}
"""Clicks that the screen offers, and what each is called; the exercise's own comes first."""

_LEANS = (ON_THE_BEAT, Lean(10.0), Lean(20.0), AUTO)

_NUMBERS = {
    Feedback.BAR: "after each bar",
    Feedback.STROKE: "at each stroke",
    Feedback.AFTER: "after the take",
    Feedback.FADE: "less and less often",
}


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One line of the screen: what can be changed, and its choices."""

    name: str
    value: str
    """The present choice in words."""
    before: DrillChoice
    """The drill with the choice before."""
    after: DrillChoice
    """The drill with the next choice."""


def option_rows(choice: DrillChoice, drill: Drill) -> tuple[OptionRow, ...]:
    """The lines of the screen for what the player has chosen so far and the drill that it makes."""
    exercise = None if drill.exercise is None else exercise_from_toml(drill.exercise)
    made = exercise is not None and bool(exercise.family) and ":" not in choice.what
    metre = str(drill.plan.metre.metres[0])
    rows = [_metre_row(choice, metre)] if made else []
    rows.append(_tempo_row(choice, tempo_of(drill)))
    rows.append(_click_row(choice, drill, metre, "" if exercise is None else click_text(exercise.click)))
    rows.append(_lean_row(choice, drill.lean_ms))
    feedback = list(_NUMBERS)
    before, after = (replace(choice, feedback=one) for one in _beside(feedback, choice.feedback))
    return (*rows, OptionRow("numbers", _NUMBERS[choice.feedback], before, after))


def _beside(choices: Sequence[_Choice], present: _Choice) -> tuple[_Choice, _Choice]:
    """The choices before and after the present one, round and round."""
    at = choices.index(present) if present in choices else 0
    return choices[at - 1], choices[(at + 1) % len(choices)]


def _metre_row(choice: DrillChoice, metre: str) -> OptionRow:
    """Another metre has another tempo of its own, and other drums."""
    drums = choice.click is not None and choice.click.startswith("beat:")
    plain = replace(choice, tempo_bpm=None, click=None if drums else choice.click)
    before, after = _beside(list(METRES), metre)
    return OptionRow("metre", metre, replace(plain, metre=before), replace(plain, metre=after))


def _tempo_row(choice: DrillChoice, bpm: float) -> OptionRow:
    down, up = max(tempo_step.slower(bpm), _LOWEST_BPM), tempo_step.faster(bpm, _HIGHEST_BPM)
    return OptionRow("tempo", f"{bpm:.0f} bpm", replace(choice, tempo_bpm=down), replace(choice, tempo_bpm=up))


def _click_row(choice: DrillChoice, drill: Drill, metre: str, own: str) -> OptionRow:
    """What heeltap offers, the exercise's own click, the others, then the drums of this metre."""
    drums = {f"beat:{name}": beat.title for name, beat in read_beats().items() if str(beat.metre) == metre}
    present = choice.click or drill.heard or OWN_CLICK
    others = [OWN_CLICK, *_CLICKS]
    choices = [*drums, *others] if as_offered(drill).heard in drums and not drill.item else [*others, *drums]
    before, after = (replace(choice, click=one) for one in _beside(choices, present))
    if present == OWN_CLICK:
        value = f"{_CLICKS.get(own, own)} (as in the exercise)" if own else "every beat"
    elif present in drums:
        value = f"drums: {present.removeprefix('beat:')}"
    else:
        value = _CLICKS.get(present, present)
    return OptionRow("click", value, before, after)


def _lean_row(choice: DrillChoice, lean_ms: float) -> OptionRow:
    before, after = (replace(choice, lean=one) for one in _beside([None, *_LEANS], choice.lean))
    where = (
        "on the beat" if not lean_ms else f"{abs(lean_ms):.0f} ms {'behind' if lean_ms > 0 else 'ahead of'} the beat"
    )
    why = " (as in the exercise)" if choice.lean is None else " (auto)" if choice.lean == AUTO else ""
    return OptionRow("lean", f"{where}{why}", before, after)


def draw_options(rows: Sequence[OptionRow], drill: Drill, chosen: int, look: Look, *, message: str = "") -> list[Line]:
    """The whole screen, exactly ``look.height`` lines; ``chosen`` counts the rows of `option_rows`."""
    bars, seconds = drill.plan.bars, int(drill.plan.at_us[-1]) / 1e6
    told = [drill.aim, f"{bars} bars, about {seconds:.0f} seconds; {rows_of_drill(drill).keys}.", *_drums(drill)]
    body = [label_line(at == chosen, row.name, row.value, "") for at, row in enumerate(rows)]
    for text in filter(None, told):
        body += [[], *wrapped_lines(text, look.width)]
    body = body[: room_of(look)]
    return page(look, drill.title, "", body, OPTIONS_KEYS, message=message)


def _drums(drill: Drill) -> list[str]:
    """What the drums play, where there are any."""
    name = drill.heard.removeprefix("beat:")
    beat = read_beats().get(name) if drill.heard.startswith("beat:") else None
    return [] if beat is None else [f"Drums: {beat.title[:1].lower()}{beat.title[1:]}."]


class OptionsScreen(QuietScreen):
    """How the chosen exercise is played."""

    name = "options"

    def __init__(self, host: Host) -> None:
        super().__init__(host)
        self._choice = DrillChoice("anchor 1")
        self._drill: Drill | None = None
        self._rows: tuple[OptionRow, ...] = ()
        self._from = "exercises"

    def show(self, choice: DrillChoice, back_to: str) -> None:
        """Show what the player chose; esc goes back to the screen of the name ``back_to``."""
        self._from, self.at, self._choice, self._drill, self._rows = back_to, 0, choice, None, ()
        self._try(choice)

    @property
    def keys(self) -> tuple[Key, ...]:
        """They never change."""
        return OPTIONS_KEYS

    @property
    def more(self) -> tuple[str, ...]:
        """What the lines mean."""
        return OPTIONS_HELP

    @property
    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Play, change the chosen line."""
        return {
            "enter": self._play,
            "left": lambda: self._change(after=False),
            "right": lambda: self._change(after=True),
        }

    @property
    def count(self) -> int:
        """The lines that the player can change."""
        return len(self._rows)

    def draw(self, look: Look, message: str) -> list[Line]:
        """The lines and what they make of the exercise."""
        if self._drill is None:
            return page(look, self._choice.what, "", [], self.keys, message=message)
        return draw_options(self._rows, self._drill, self.at, look, message=message)

    def back(self) -> None:
        """Go back to where the exercise was chosen."""
        self.host.go(self._from)

    def _change(self, *, after: bool) -> None:
        if self._rows:
            row = self._rows[self.at]
            self._try(row.after if after else row.before)

    def _try(self, choice: DrillChoice) -> None:
        """Make the drill of a choice; where it cannot be made the screen says why and keeps the one before."""
        self.host.say("")
        try:
            self._drill = drill_chosen(choice, CLICK_SOUNDS["wood"])
        except HeeltapError as error:
            self.host.say(str(error))
            return
        self._choice, self._rows = choice, option_rows(choice, self._drill)
        self.at = min(self.at, len(self._rows) - 1)

    def _play(self) -> None:
        if self._drill is not None:
            self.host.leave_with(self._choice)
