"""Judge onsets that somebody has found in a recording of any instrument, against a click, a song's drums or a plan.

Inside: `score_onsets`.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from heeltap.analysis.analyse import Options, analyse
from heeltap.app.score.read import (
    click_tempo,
    clip_timeline,
    leader_of,
    load_plan,
    named_tempo,
    read_pattern,
    stretch_of,
)
from heeltap.app.score.reading import Reading, Timeline, bar_us
from heeltap.app.score.score import with_plan
from heeltap.errors import OptionError, sentence
from heeltap.files.onsets import read_onsets
from heeltap.files.smf import Midi
from heeltap.model.exercise import parse_metre
from heeltap.model.notes import make_notes
from heeltap.model.plan import ANY_PITCH, Plan
from heeltap.model.played import Played
from heeltap.model.result import Result
from heeltap.model.sections import sections_from_text
from heeltap.model.timeline import steady_metre

__all__ = ["score_onsets"]

_KEY = 60
"""Stands for the one thing that is struck: an onset has no key."""


def score_onsets(
    path: str | Path,
    song: str | Path | None = None,
    reading: Reading | None = None,
    options: Options | None = None,
    *,
    metre: str | None = None,
) -> Result:
    """The result of onsets from a text file, `heeltap.files.onsets`.

    Parameters
    ----------
    path : path
        The onsets.
    song : path, optional
        A MIDI file whose tempo, metre, sections and drums they belong to.
    reading : Reading, optional
        What to hold them against. Without a song and a plan it has to name the tempo.
    options : Options, optional
        How to judge them.
    metre : str, optional
        How bars are counted where neither a song nor a plan says so; 4/4 where not given.

    Returns
    -------
    Result

    Raises
    ------
    OptionError
        Something was asked for that onsets cannot honour, or there is no tempo.
    InputFileError, MidiFileError, SetFileError, PlanError
        As `heeltap.score_file`; the onsets cannot be read.
    """
    asked, how = reading or Reading(), options or Options()
    _check(str(path), song, asked, how, metre)
    midi = None if song is None else read_pattern(song, asked.pattern)
    plan = load_plan(asked.plan, asked.part) if isinstance(asked.plan, str | Path) else asked.plan
    return analyse(_played(path, midi, _any_key(plan), asked, metre), how)


def _check(where: str, song: str | Path | None, asked: Reading, how: Options, metre: str | None) -> None:
    """Refuse what onsets leave no room for."""
    with_plan(where, asked, how)
    timed = song is not None or asked.plan is not None
    refusals = (
        (how.split_key is not None, "--split with --onsets", "none", "an onset has no key"),
        (asked.part is not None and asked.plan is None, "--part with --onsets", "none", "onsets are one part"),
        (asked.leader is not None and song is None, "--leader without a song", "the MIDI file that holds it", ""),
        (asked.pattern is not None and song is None, "--pattern without a song", "the MIDI file that holds it", ""),
        (metre is not None and timed, "--metre with a song or plan", "none", "it has a metre of its own"),
        (asked.tempo_bpm is None and not timed, "no tempo", "--tempo BPM, or the song's MIDI file", ""),
    )
    for wrong, found, expected, hint in refusals:
        if wrong:
            raise OptionError(sentence(where, found, expected, hint))


def _any_key(plan: Plan | None) -> Plan | None:
    """The plan with each of its strokes once, on any key: an onset says when, not what."""
    if plan is None or len(plan) == 0:
        return plan
    first = np.flatnonzero(np.diff(plan.stroke, prepend=-1))
    columns = ("at_tick", "at_us", "velocity", "kind")
    once = {name: getattr(plan, name)[first] for name in columns}
    none = np.zeros(first.size, np.int64)
    return replace(plan, **once, pitch=none + ANY_PITCH, hand=none, stroke=np.arange(first.size))


def _played(path: str | Path, midi: Midi | None, plan: Plan | None, asked: Reading, metre: str | None) -> Played:
    """The onsets as a take."""
    time = _timeline(midi, plan, asked, metre)
    onsets = read_onsets(path, time.tempo, time.metre)
    if onsets.by_bar and asked.at_bar is not None:
        raise OptionError(
            sentence(str(path), "--at with bars and beats", "one of them", "these onsets know their bars")
        )
    by_us = bar_us(time, asked.at_bar, str(path))
    notes = make_notes(onsets.at_us + by_us, np.full(onsets.at_us.size, _KEY))
    sections = time.sections
    if asked.sections is not None and (plan is not None or midi is None):
        last = int(time.metre.bar_beat(time.tempo.quarter_at(notes.onset_us[-1:]))[0][0]) if plan is None else plan.bars
        sections = sections_from_text(asked.sections, last)
        plan = None if plan is None else replace(plan, sections=sections)
    ahead = None if midi is None else leader_of(midi, asked.leader, by_us)
    return Played(
        notes=notes,
        tempo=time.tempo,
        metre=time.metre,
        plan=plan,
        sections=sections,
        leader=None if ahead is None else ahead.notes,
        leader_name="" if ahead is None else ahead.name,
        file=Path(path).name,
        part="",
        resolution_ms=onsets.resolution_ms,
        stretch=None if plan is None else stretch_of(notes, plan),
    )


def _timeline(midi: Midi | None, plan: Plan | None, asked: Reading, metre: str | None) -> Timeline:
    """How time runs: as in the plan, else as in the song, else at the steady tempo that was named."""
    if plan is not None:
        return Timeline(plan.tempo, plan.metre)
    if midi is not None:
        return clip_timeline(midi, click_tempo(midi, asked.tempo_bpm), asked)
    kind = parse_metre(metre or "4/4")
    return Timeline(named_tempo(asked.tempo_bpm or 0.0), steady_metre(kind.count, kind.unit))
