"""Exercise files: TOML that heeltap writes and a teacher can write or change by hand.

::

    format = "heeltap.exercise/1"
    title = "Two and four"
    metre = "4/4"
    tempo_bpm = 76
    [[section]]
    name = "groove"
    bars = ["1 2 3 4", "-", "2 4", "2 4"]

A bar is counting text (`heeltap.model.counting`); a list of texts where there are several voices; a table
``{ lines = [...], fill_from = 3 }`` where a fill starts on a unit. All but ``format``, ``tempo_bpm`` and ``section``
may be left out.

Inside: `read_exercise`, `exercise_from_toml`, `exercise_to_toml`, `FORMAT`.
"""

import re
from pathlib import Path
from typing import Any

from heeltap.course.generate import TEMPI
from heeltap.errors import PlanError
from heeltap.files.toml.check import Check, toml_file_text, toml_text
from heeltap.files.toml.families import grade_name, read_voices
from heeltap.model.counting import parse_counting
from heeltap.model.exercise import Bar, ClickPlan, Exercise, Ladder, Pocket, Voice, click_text, parse_click
from heeltap.model.lean import AUTO, Lean
from heeltap.model.plan import Section
from heeltap.model.plan_from import plan_of, tempo_of
from heeltap.model.timeline import Metre

__all__ = ["FORMAT", "exercise_from_toml", "exercise_to_toml", "read_exercise"]

FORMAT = "heeltap.exercise/1"

_KEYS = (
    "format", "name", "title", "aim", "family", "grade", "seed", "metre", "tempo_bpm", "swing_ratio", "click",
    "count_in_bars", "lean_ms", "pocket_ms", "ladder", "voices", "section",
)  # fmt: skip
_MOST_BARS = 2_000


def read_exercise(path: Path) -> Exercise:
    """The exercise in a file; raises `SetFileError` with every mistake, each with its line."""
    text = toml_file_text(path, "an exercise file (.toml)")
    return exercise_from_toml(text, where=str(path), name=path.stem)


def exercise_from_toml(text: str, *, where: str = "exercise", name: str = "exercise") -> Exercise:
    """The exercise that a TOML text describes.

    Parameters
    ----------
    where : str
        What the messages call the text.
    name : str
        Name of the exercise where the text gives none.
    """
    check = Check(where, text)
    top = check.document
    check.only(top, (), _KEYS)
    if check.text(top, (), "format") not in (FORMAT, ""):
        check.wrong(("format",), repr(top["format"]), f'"{FORMAT}"', "a newer heeltap may have written it")
    metre = _metre(check, top)
    voices = read_voices(check, top, ())
    bars, sections = _sections(check, top, metre, voices)
    exercise = Exercise(
        name=check.text(top, (), "name", name),
        title=check.text(top, (), "title", name),
        aim=check.text(top, (), "aim", ""),
        metre=metre,
        tempo_bpm=check.number(top, (), "tempo_bpm", low=TEMPI[0], high=TEMPI[1]),
        voices=voices,
        bars=bars,
        sections=sections,
        click=_click(check, top),
        pocket=_pocket(check, top),
        swing_ratio=_swing(check, top, metre),
        ladder=_ladder(check, top),
        count_in_bars=check.whole(top, (), "count_in_bars", 1, low=0, high=8),
        family=check.text(top, (), "family", ""),
        grade=_grade(check, top),
        seed=check.whole(top, (), "seed", 0, low=-(2**63), high=2**63 - 1),
    )
    if not check.mistakes:
        _whole(check, exercise)
    check.finish()
    return exercise


def _whole(check: Check, exercise: Exercise) -> None:
    """What only the exercise as a whole shows: where its ladder ends, how many notes it has."""
    for key, build in (("ladder", tempo_of), ("section", plan_of)):
        try:
            build(exercise)
        except PlanError as error:
            check.planned((key,), error)
            return


def _grade(check: Check, top: dict[str, Any]) -> str:
    """Name of the grade; files from before grades had names give its number."""
    if isinstance(top.get("grade"), int):
        number = check.whole(top, (), "grade", 0, low=0, high=99)
        return grade_name(check.text(top, (), "family", ""), number)
    return check.text(top, (), "grade", "")


def _metre(check: Check, top: dict[str, Any]) -> Metre:
    text = check.text(top, (), "metre", "4/4")
    if found := re.fullmatch(r"([0-9]{1,2})/(2|4|8|16)", text):
        count = int(found[1])
        if 1 <= count <= 32:
            return Metre(count, int(found[2]))
    check.wrong(("metre",), repr(text), "such as 4/4: 1 to 32 over 2, 4, 8 or 16")
    return Metre(4, 4)


def _click(check: Check, top: dict[str, Any]) -> ClickPlan:
    try:
        return parse_click(check.text(top, (), "click", "every"))
    except PlanError as e:
        check.planned(("click",), e)
        return ClickPlan()


def _pocket(check: Check, top: dict[str, Any]) -> Pocket:
    lean = AUTO if top.get("lean_ms") == "auto" else Lean(check.number(top, (), "lean_ms", 0.0, low=-100, high=100))
    half = check.number(top, (), "pocket_ms", low=1, high=200) if "pocket_ms" in top else None
    return Pocket(lean, half)


def _swing(check: Check, top: dict[str, Any], metre: Metre) -> float:
    ratio = check.number(top, (), "swing_ratio", 1.0, low=1, high=4)
    if ratio != 1 and metre.unit != 4:
        check.wrong(("swing_ratio",), f"{ratio:g} in {metre}", "1 unless the metre counts quarters")
    return ratio


def _ladder(check: Check, top: dict[str, Any]) -> Ladder | None:
    row = top.get("ladder")
    if row is None:
        return None
    if not isinstance(row, dict):
        check.wrong(("ladder",), repr(row), "{ every_bars = 4, step_percent = 4 }")
        return None
    check.only(row, ("ladder",), ("every_bars", "step_percent"))
    return Ladder(
        check.whole(row, ("ladder",), "every_bars", low=1, high=_MOST_BARS),
        check.number(row, ("ladder",), "step_percent", low=-50, high=50),
    )


def _sections(
    check: Check, top: dict[str, Any], metre: Metre, voices: tuple[Voice, ...]
) -> tuple[tuple[Bar, ...], tuple[Section, ...]]:
    bars: list[Bar] = []
    sections: list[Section] = []
    rows = check.tables(top, (), "section")
    for number, row in enumerate(rows):
        path = ("section", number)
        check.only(row, path, ("name", "bars"))
        items = check.items(row, path, "bars")
        if not items:
            check.wrong((*path, "bars"), "no bar", "at least one")
        found = [_bar(check, item, (*path, "bars", i), metre, voices) for i, item in enumerate(items)]
        name = check.text(row, path, "name", "")
        if not name and len(rows) > 1:
            check.wrong((*path, "name"), "no name", "a name, where there is more than one section")
        sections.append(Section(name, len(bars) + 1, len(bars) + len(found)))
        bars += found
    if len(bars) > _MOST_BARS:
        check.wrong(("section",), f"{len(bars)} bars", f"at most {_MOST_BARS}")
    sounding = check.mistakes or any(parse_counting(line, metre).at_tick for bar in bars for line in bar.lines)
    if not sounding:
        check.wrong(("section",), "no stroke", "at least one stroke in one bar of one section")
    return tuple(bars), tuple(sections if any(s.name for s in sections) else ())


def _bar(check: Check, item: Any, path: tuple[str | int, ...], metre: Metre, voices: tuple[Voice, ...]) -> Bar:
    fill = 0
    if isinstance(item, dict):
        check.only(item, path, ("lines", "fill_from"))
        fill = check.whole(item, path, "fill_from", 0, low=0, high=metre.count)
        item = item.get("lines", [])
    lines = check.texts(item, path)
    if len(lines) != len(voices):
        check.wrong(path, f"{len(lines)} lines", f"{len(voices)}, one a voice")
        return Bar(("-",) * len(voices))
    for line in lines:
        try:
            parse_counting(line, metre)
        except PlanError as e:
            check.planned(path, e)
    return Bar(lines, fill)


def exercise_to_toml(exercise: Exercise) -> str:
    """The exercise as TOML; `exercise_from_toml` of it is the same exercise."""
    rows: list[tuple[str, Any]] = [
        ("format", FORMAT),
        ("name", exercise.name),
        ("title", exercise.title),
        ("aim", exercise.aim),
        ("family", exercise.family),
        ("grade", exercise.grade),
        ("seed", exercise.seed),
        ("metre", str(exercise.metre)),
        ("tempo_bpm", exercise.tempo_bpm),
        ("swing_ratio", exercise.swing_ratio),
        ("click", click_text(exercise.click)),
        ("count_in_bars", exercise.count_in_bars),
        ("lean_ms", exercise.pocket.lean.written),
    ]
    if exercise.pocket.half_width_ms is not None:
        rows.append(("pocket_ms", exercise.pocket.half_width_ms))
    lines = [f"{key} = {toml_text(value)}" for key, value in rows]
    if exercise.ladder:
        step = exercise.ladder
        lines.append(f"ladder = {{ every_bars = {step.every_bars}, step_percent = {toml_text(step.step_percent)} }}")
    lines += ["voices = [", *(f"  {_voice_text(voice)}," for voice in exercise.voices), "]"]
    for section in exercise.sections or (Section("", 1, len(exercise.bars)),):
        lines += ["", "[[section]]", f"name = {toml_text(section.name)}", "bars = ["]
        lines += [f"  {_bar_text(bar)}," for bar in exercise.bars[section.first_bar - 1 : section.last_bar]]
        lines.append("]")
    return "\n".join(lines) + "\n"


def _voice_text(voice: Voice) -> str:
    parts = [f"name = {toml_text(voice.name)}"]
    if voice.pitches:
        parts.append(f"pitches = {toml_text(voice.pitches)}")
    if voice.hand:
        parts.append(f"hand = {toml_text(voice.hand)}")
    return "{ " + ", ".join(parts) + " }"


def _bar_text(bar: Bar) -> str:
    lines = toml_text(bar.lines[0]) if len(bar.lines) == 1 else toml_text(bar.lines)
    return f"{{ lines = {toml_text(bar.lines)}, fill_from = {bar.fill_from} }}" if bar.fill_from else lines
