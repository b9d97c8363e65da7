"""Score a recorded file or a take folder, with what you ask for, into a `Result`.

heeltap does what you ask, or refuses it by name; it passes nothing over.

Inside: `score_file`, `score_path`, `ready`, `with_plan`, `Ready`.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from heeltap.analysis.advice.after_take import course_aside
from heeltap.analysis.analyse import Options, analyse
from heeltap.app.score.read import load_plan, read_take
from heeltap.app.score.reading import Reading
from heeltap.app.takes.load_scored_inputs import load_scored_inputs
from heeltap.errors import OptionError, sentence
from heeltap.files.takes.folder import take_of
from heeltap.files.takes.left_out import leave_out
from heeltap.files.takes.metadata import Context, drums_from
from heeltap.model.lean import AUTO, Lean
from heeltap.model.pitch import key_of
from heeltap.model.plan import ANY_PITCH, Plan
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.model.sections import sections_from_text

__all__ = ["Ready", "ready", "score_file", "score_path", "with_plan"]


def score_file(
    path: str | Path,
    part: str | None = None,
    plan: str | Path | Plan | None = None,
    leader: str | None = None,
    grid: int | None = None,
    lean_ms: float | None = 0.0,
    pocket_ms: float | None = None,
    delay_ms: float | None = None,
    retrigger_ms: float | None = None,
    *,
    sections: str | None = None,
    tempo_bpm: float | None = None,
    pattern: int | None = None,
    split: str | int | None = None,
) -> Result:
    """Score one recorded MIDI file.

    Parameters
    ----------
    path : path
        A Standard MIDI File whose bar 1, beat 1 is tick 0 of the click it was played to.
    part : str, optional
        Number, ``track 2``, ``channel 10`` or name; needed when several parts could be meant.
    plan : path or Plan, optional
        What should have been played: an exercise (``.toml``) or another MIDI file; without it the take is placed on the
        click's grid.
    leader : str, optional
        A part of the same file (as for ``part``), or ``drums`` for its drum part: time is then measured against its
        kick and snare instead of the click.
    grid : 8, 12, 16 or 24, optional
        Force a plain raster of so many slots a whole note: every note to its own nearest slot, nothing followed.
    lean_ms : float or None
        Offset aimed at, plus is behind; None means auto.
    pocket_ms, delay_ms, retrigger_ms : float, optional
        Half-width of the pocket; the route's known delay; the window of double triggers (None: 30, 0: off).
    sections : str, optional
        ``intro:1 verse:5``; without it the file's markers name the sections.
    pattern : int, optional
        Which pattern of a format 2 file, from 1.
    tempo_bpm : float, optional
        Quarter notes a minute of the click, where the file does not say or says it wrong; not together with a plan.
    split : str or int, optional
        Lowest key of the right hand, such as ``C4``: keys below are the left hand's.

    Returns
    -------
    Result
        Times in milliseconds.

    Raises
    ------
    MidiFileError
        The file cannot be read, or holds no note.
    InputFileError
        No such part, or several could be meant; a leader without kick and snare.
    SetFileError, PlanError
        The plan cannot be read or built.
    OptionError
        Two of these that do not go together, such as a grid and a plan.
    """
    options = Options(
        lean=AUTO if lean_ms is None else Lean(lean_ms),
        pocket_ms=pocket_ms,
        delay_ms=delay_ms,
        retrigger_ms=retrigger_ms,
        grid=grid,
        split_key=None if split is None else key_of(str(split)),
    )
    reading = Reading(part=part, pattern=pattern, plan=plan, leader=leader, sections=sections, tempo_bpm=tempo_bpm)
    return _of_file(path, reading, options).result


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """A take that can be analysed, whatever it came from."""

    played: Played
    options: Options
    of_course: bool = False
    """Whether it is a kept take of an exercise: what comes next is then for the history to say."""

    @property
    def result(self) -> Result:
        """What the take is worth."""
        result = analyse(self.played, self.options)
        return course_aside(result) if self.of_course else result


def score_path(path: str | Path, reading: Reading | None = None, options: Options | None = None) -> Result:
    """The result of a MIDI file, or of a kept take (its folder or a file in it) as it was meant; raises as `ready`.

    Parameters
    ----------
    path : path
    reading : Reading, optional
    options : Options, optional

    Returns
    -------
    Result
    """
    return ready(path, reading, options).result


def ready(path: str | Path, reading: Reading | None = None, options: Options | None = None) -> Ready:
    """The take in a MIDI file or in a folder of a kept take, with everything that a person asked for.

    Parameters
    ----------
    path : path
    reading : Reading, optional
        What to read and to hold it against. A kept take has its own plan unless another one is named.
    options : Options, optional
        How to judge it. What they leave open is as the kept take was played.

    Returns
    -------
    Ready

    Raises
    ------
    OptionError
        Something was asked for that this input cannot honour; the message names the option.
    MidiFileError, InputFileError, TakeFileError, SetFileError, PlanError
        As `score_file`; a kept take is damaged.
    """
    asked, how = reading or Reading(), options or Options()
    folder = take_of(Path(path))
    return _of_file(path, asked, how) if folder is None else _kept(folder, asked, how)


def _of_file(path: str | Path, asked: Reading, how: Options) -> Ready:
    """The take in a MIDI file."""
    with_plan(path, asked, how)
    played = read_take(path, asked)
    _with_hands(path, played.plan, how)
    return Ready(played, how)


def with_plan(path: str | Path, asked: Reading, how: Options) -> None:
    """Refuse what a plan leaves no room for.

    Parameters
    ----------
    path : path
        For the message.
    asked : Reading
    how : Options

    Raises
    ------
    OptionError
        A raster or a tempo beside a plan.
    """
    if asked.plan is not None and how.grid is not None:
        hint = "a plan says where each note belongs"
        raise OptionError(sentence(str(path), "--grid with --plan", "one of them", hint))
    if asked.plan is not None and asked.tempo_bpm is not None:
        raise OptionError(sentence(str(path), "--tempo with --plan", "one of them", "a plan has its own tempo"))


def _with_hands(path: str | Path, plan: Plan | None, how: Options) -> None:
    """Refuse a split where the plan leaves every stroke to any hand on any key."""
    if how.split_key is not None and plan is not None and np.all((plan.pitch == ANY_PITCH) & (plan.hand == 0)):
        raise OptionError(sentence(str(path), "--split with this plan", "none", "any hand may play it on any key"))


_NOT_OF_A_TAKE = {
    "pattern": ("--pattern", "a kept take is one performance"),
    "tempo_bpm": ("--tempo", "a kept take knows its click"),
    "at_bar": ("--at", "a kept take knows its bars"),
    "part": ("--part", "a kept take is one part"),
}
"""What a kept take cannot honour, and why; ``part`` only where it does not choose from the plan's file."""


def _led(folder: Path, played: Played, context: Context, asked: Reading) -> Played:
    """The take, measured against the drums that sounded or against the click, as was asked for."""
    drums = context.drums
    if asked.leader is None:
        return played
    if asked.leader == "click":
        return replace(played, leader=None, leader_name="")
    if drums is None or not drums.at_us or asked.leader not in ("drums", drums.name):
        there = "click" if drums is None or not drums.at_us else "drums or click"
        hint = "only what sounded while you played can lead a kept take"
        raise OptionError(sentence(str(folder), f"--leader {asked.leader}", there, hint))
    return replace(played, leader=drums_from(drums, str(folder)), leader_name=drums.name)


def _kept(folder: Path, asked: Reading, how: Options) -> Ready:
    """A kept take with what was asked for in place of what it was played with."""
    with_plan(folder, asked, how)
    for name, (flag, why) in _NOT_OF_A_TAKE.items():
        if getattr(asked, name) is not None and not (name == "part" and asked.plan is not None):
            raise OptionError(sentence(str(folder), f"{flag} for a kept take", "none", why))
    inputs = load_scored_inputs(folder)
    played, context = inputs.played, inputs.take.context
    plan = played.plan
    played = _led(folder, played, context, asked)
    if asked.plan is not None:
        other = load_plan(asked.plan, asked.part) if isinstance(asked.plan, str | Path) else asked.plan
        notes, plan = leave_out(inputs.take.notes, other, context.left_out, context.judged_to_us)
        played = replace(played, notes=notes, tempo=plan.tempo, metre=plan.metre, plan=plan)
    if asked.sections is not None and plan is not None:
        plan = replace(plan, sections=sections_from_text(asked.sections, plan.bars))
        played = replace(played, plan=plan)
    _with_hands(folder, None if how.grid else plan, how)
    if how.grid is not None and plan is not None:
        played = replace(played, plan=None, sections=plan.sections)
    return Ready(played, how.over(inputs.options), of_course=context.exercise is not None and asked.plan is None)
