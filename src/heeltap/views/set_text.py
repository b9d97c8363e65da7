"""A set in words and on paper: what each exercise asks of you. Screen and sheet share the phrases.

Inside: `set_text`, `sheet_of`, `write_sheet`, `sets_text`.
"""

import shlex
import textwrap
from collections.abc import Callable
from pathlib import Path

from heeltap.app.practice.sets import OpenSet, Work, minutes_of, open_set, shipped_sets
from heeltap.errors import PlanError, sentence
from heeltap.model.counted_bars import counted_exercise, counted_plan
from heeltap.model.exercise import ClickPlan, Exercise, parse_click
from heeltap.model.plan_from import tempo_of
from heeltap.model.practice_set import Done, SetItem
from heeltap.views.practice_sheet import Sheet, SheetItem, sheet_html, sheet_text
from heeltap.wording import count
from heeltap.write import write_asked

__all__ = ["set_text", "sets_text", "sheet_of", "write_sheet"]

_CLICK_WORDS = {
    "every": "click on every beat",
    "backbeat": "click on the answering beats only",
    "one": "click on beat one only",
    "fade": "click that fades out",
    "none": "no click after the count-in",
}

_BARS_SHOWN = 8
"""Different bars of an exercise on the sheet."""


def sets_text() -> str:
    """The sets that come with heeltap, to choose from."""
    lines = []
    for name in shipped_sets():
        opened = open_set(name)
        about = f"{count(len(opened.works), 'exercise')}, for {opened.set.audience}"
        lines += textwrap.wrap(f"{name:<18}{opened.set.title}. {about}", 79, subsequent_indent=" " * 18)
    return "\n".join(lines) + "\n"


def set_text(opened: OpenSet) -> str:
    """What the set asks for, exercise by exercise."""
    sheet = sheet_of(opened)
    lines = [sheet.title, *([f"For {sheet.audience}."] if sheet.audience else []), *sheet.notes]
    lines.append(f"{count(len(sheet.items), 'exercise')}, {sheet.minutes} minutes of playing. Set {sheet.fingerprint}.")
    for item in sheet.items:
        lines.append("")
        lines += textwrap.wrap(f"{item.number} {item.title}. {item.aim}", 79, subsequent_indent="  ")
        steps = ", ".join(item.steps)
        takes = f" ({count(item.takes, 'take')} each)" if len(item.steps) > 1 else f" ({count(item.takes, 'take')})"
        for text in (f"{item.how}. {item.target}", f"{steps}{takes}. {item.done}", *item.notes):
            lines += textwrap.wrap(text, 79, initial_indent="  ", subsequent_indent="  ")
        lines.append(f"  {item.command}")
    return "\n".join(lines) + "\n"


def sheet_of(opened: OpenSet) -> Sheet:
    """The set, ready to be printed."""
    practice = opened.set
    return Sheet(
        title=practice.title,
        audience=practice.audience.rstrip("."),
        notes=practice.notes,
        minutes=max(1, round(minutes_of(opened))),
        fingerprint=opened.fingerprint[:12],
        items=tuple(_sheet_item(opened, work) for work in opened.works),
    )


def _sheet_item(opened: OpenSet, work: Work) -> SheetItem:
    item, exercise = work.item, work.item.exercise
    if exercise is None:
        bars, left_out = counted_plan(work.plan, most=_BARS_SHOWN)
    else:
        bars, left_out = counted_exercise(exercise, most=_BARS_SHOWN)
    return SheetItem(
        number=work.number,
        title=work.title,
        aim=exercise.aim if exercise else "",
        how=_how(work),
        target=_target(work),
        done=_done(item.done, item),
        notes=item.notes,
        command=f"heeltap drill {shlex.quote(f'{opened.called}:{work.number}')}",
        steps=tuple(_step(work, tempo) for tempo in work.tempi_bpm),
        takes=item.takes,
        bars=bars,
        left_out=left_out,
    )


def _how(work: Work) -> str:
    """Metre, length, click, swing, ladder."""
    exercise, item = work.item.exercise, work.item
    metres = work.plan.metre.metres
    parts = [str(metres[0]) + (" and others" if len(metres) > 1 else ""), count(work.plan.bars, "bar")]
    if exercise is None:
        parts.append(_click_words(parse_click(item.click or "every")))
    else:
        parts.append(_click_words(exercise.click))
        if exercise.swing_ratio != 1:
            parts.append(f"eighths swung {exercise.swing_ratio:g} to 1")
        if exercise.ladder:
            change = exercise.ladder
            parts.append(f"{change.step_percent:+g} % every {count(change.every_bars, 'bar')}")
    return "; ".join(parts)


def _click_words(click: ClickPlan) -> str:
    return _CLICK_WORDS.get(click.kind) or f"click for {click.bars_on} bars, silence for {click.bars_off}, in turn"


def _target(work: Work) -> str:
    """Where strokes should sit."""
    lean, pocket = work.lean.fixed_ms, work.item.pocket_ms
    if work.item.exercise is not None:
        pocket = work.item.exercise.pocket.half_width_ms
    if lean is None:
        where = "Lean a little behind the click (4 % of the beat)"
    elif lean == 0:
        where = "Aim at the click itself"
    else:
        where = f"Aim {abs(lean):g} ms {'behind' if lean > 0 else 'ahead of'} the click"
    return f"{where}, {pocket:g} ms to either side." if pocket else f"{where}."


def _done(done: Done, item: SetItem) -> str:
    """What counts as done."""
    marks = []
    if done.in_pocket_percent is not None:
        marks.append(f"{done.in_pocket_percent:g} % of the strokes in the pocket")
    if done.spread_ms is not None:
        marks.append(f"a spread of at most {done.spread_ms:g} ms")
    where = " at each tempo" if len(item.tempo_bpm) > 1 else ""
    if not marks:
        return f"Done after {count(done.takes, 'take')}{where}."
    have = "has" if done.takes == 1 else "have"
    return f"Done{where} when {count(done.takes, 'take')} of {item.takes} {have} {' and '.join(marks)}."


def _step(work: Work, tempo_bpm: float) -> str:
    """A tempo as it is shown: the last of a climbing one too, and felt beats where they are longer than quarters."""
    exercise, felt = work.item.exercise, work.plan.metre.metres[0].beat_quarters
    text = f"{tempo_bpm:.4g}"
    if exercise is not None and exercise.ladder:
        text += f" to {_last_bpm(exercise) * tempo_bpm / exercise.tempo_bpm:.0f}"
    return f"{text} bpm" + (f" ({tempo_bpm / felt:.4g} beats)" if felt > 1 else "")


def _last_bpm(exercise: Exercise) -> float:
    return 60e6 / int(tempo_of(exercise).us_per_quarter[-1])


def write_sheet(opened: OpenSet, path: str | Path, *, force: bool = False) -> None:
    """Write the sheet as a page (``.html``) or as plain text (``.txt``).

    Raises `PlanError` for another ending, `InputFileError` when the file cannot be written, as
    `heeltap.write.check_asked`.
    """
    writers: dict[str, Callable[[Sheet], str]] = {".html": sheet_html, ".htm": sheet_html, ".txt": sheet_text}
    target = Path(path)
    writer = writers.get(target.suffix.lower())
    if writer is None:
        raise PlanError(sentence(str(path), f"a name ending in '{target.suffix}'", ".html or .txt"))
    write_asked(target, writer(sheet_of(opened)).encode(), inputs=[opened.called], force=force)
