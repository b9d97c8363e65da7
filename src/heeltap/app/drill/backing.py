"""What you hear while you play: the click, a drum pattern, or the drum part of the song, and how it sounds.

Inside: `Wish`, `wish_of`, `backing_of`, `sound_of`, `kept_sound`.
"""

import difflib
import re
from dataclasses import dataclass, replace

import numpy as np

from heeltap.app.drill.band import notes_at_plan
from heeltap.app.score.read import drum_part
from heeltap.course.drum_patterns import Hits, hits_of
from heeltap.errors import PlanError, sentence
from heeltap.files.paths import settings_file
from heeltap.files.settings import Stored
from heeltap.files.smf import read_midi
from heeltap.files.toml.beats import read_beats
from heeltap.model.exercise import ClickPlan, click_levels, parse_click
from heeltap.model.messages import Schedule
from heeltap.model.plan import Plan
from heeltap.model.plan_from import swing_ticks
from heeltap.sound.click import CLICK_SOUNDS, ClickSound
from heeltap.sound.drums import DRUM, hits_schedule, part_schedule

__all__ = ["Wish", "backing_of", "kept_sound", "sound_of", "wish_of"]

_SOURCE = re.compile(r"(beat|part):\s*(.*?)(?:\s+(every|fade|bars \S+|backbeat|one|none))?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person wants to hear."""

    source: str = "click"
    """``click``, ``beat`` or ``part``."""
    name: str = ""
    """Of the pattern or the part."""
    plan: ClickPlan | None = None
    """Where it sounds; None leaves it to the exercise."""


def wish_of(text: str | None) -> Wish:
    """What ``every``, ``beat:plain``, ``beat:plain bars 2+2``, ``part:drums`` or ``part:drums fade`` asks for.

    Raises `PlanError`.
    """
    if text is None:
        return Wish()
    found = _SOURCE.fullmatch(text.strip())
    if found is None:
        return Wish(plan=parse_click(text))
    return Wish(found[1].lower(), found[2].strip(), None if found[3] is None else parse_click(found[3].lower()))


def sound_of(notes: str | None = None, *, channel: int | None = None, velocity: int | None = None) -> ClickSound:
    """How the click sounds.

    Parameters
    ----------
    notes : str, optional
        A name of `CLICK_SOUNDS`, or the keys of a plain beat and of the one: ``33,34``; one key alone is both.
    channel : int, optional
        1-16 as people count.
    velocity : int, optional
        Of the loudest click, 1-127.

    Raises
    ------
    PlanError
        A key, channel or velocity that there is not.
    """
    sound = CLICK_SOUNDS["wood"] if notes is None else _keys(notes)
    if channel is not None:
        if not 1 <= channel <= 16:
            raise PlanError(sentence("click channel", str(channel), "1 to 16"))
        sound = replace(sound, channel=channel - 1)
    if velocity is not None:
        if not 1 <= velocity <= 127:
            raise PlanError(sentence("click velocity", str(velocity), "1 to 127"))
        sound = replace(sound, loudest=velocity)
    return sound


def kept_sound(
    stored: Stored, notes: str | None = None, *, channel: int | None = None, velocity: int | None = None
) -> ClickSound:
    """How the click sounds: what is given as in `sound_of`, and for what is not given the settings.

    Raises
    ------
    PlanError
        As `sound_of`; a mistake in the settings names their file.
    """
    sound_of(notes, channel=channel, velocity=velocity)  # what is given is refused by its own name
    try:
        return sound_of(
            notes or stored.click_notes or None,
            channel=stored.click_channel if channel is None else channel,
            velocity=stored.click_velocity if velocity is None else velocity,
        )
    except PlanError as error:
        raise PlanError(f"{settings_file()}: {error}") from error


def _keys(notes: str) -> ClickSound:
    """The sound by name or by its keys."""
    if notes in CLICK_SOUNDS:
        return CLICK_SOUNDS[notes]
    keys = [int(word) for word in re.split(r"[,\s]+", notes.strip()) if word.isascii() and word.isdecimal()]
    count = len(re.split(r"[,\s]+", notes.strip()))
    if count == len(keys) and count in (1, 2) and all(0 <= key <= 127 for key in keys):
        return ClickSound(beat=keys[0], one=keys[-1])
    names = ", ".join(CLICK_SOUNDS)
    near = difflib.get_close_matches(notes, CLICK_SOUNDS, 1, 0.4)
    hint = f"nearest: {near[0]}" if near else ""
    expected = f"two keys from 0 to 127 such as 33,34, or one of {names}"
    raise PlanError(sentence("click notes", f"'{notes}'", expected, hint))


def backing_of(wish: Wish, plan: Plan, own: ClickPlan | None, *, song: str | None, sound: ClickSound) -> Schedule:
    """The drummer of a wish for a pattern or a part.

    Parameters
    ----------
    wish : Wish
        Not for a click.
    plan : Plan
        What is played to it.
    own : ClickPlan, optional
        The exercise's own click: its silent bars and its fading hold for the drummer as well.
    song : str, optional
        The MIDI file that the plan is from.
    sound : ClickSound
        Its channel and loudness.

    Raises
    ------
    PlanError
        No such pattern or part, another metre, or a click plan that is for clicks only.
    """
    click = wish.plan or (own if own is not None and own.kind in ("bars", "fade") else ClickPlan())
    end_us = round(float(plan.tempo.us_at_quarter(plan.metre.quarter_of_bar(plan.bars + 1))))
    if wish.source == "beat":
        hits = _pattern_hits(wish.name, plan, click)
        return hits_schedule(hits, plan.tempo, end_us, channel=sound.channel, loudest=sound.loudest)
    if song is None:
        raise PlanError(sentence(f"click 'part:{wish.name}'", "no song", "a MIDI file to play along with"))
    if click.kind not in ("every", "bars", "fade"):
        raise PlanError(sentence("click", f"'{click.kind}' of a drum part", "every, 'bars 2+2' or fade"))
    midi = read_midi(song)
    part = drum_part(midi, wish.name)
    notes = notes_at_plan(midi, part, plan)
    levels = np.array([*click_levels(click, plan.bars), 0.0])
    bar = plan.metre.bar_beat(plan.tempo.quarter_at(notes.onset_us))[0]
    level = levels[np.clip(bar - 1, 0, plan.bars)]
    heard = part_schedule(notes, end_us, channel=sound.channel, level=level)
    # Another part than the drums gives the beat like a click; it has no kick and snare that could lead.
    return heard if part.is_drums else replace(heard, kind=tuple("click" if k == DRUM else k for k in heard.kind))


def _pattern_hits(name: str, plan: Plan, click: ClickPlan) -> Hits:
    """The strokes of a shipped pattern, swung like the plan."""
    beats = read_beats()
    metre = plan.metre.metres[0]
    fitting = [beat.name for beat in beats.values() if beat.metre == metre]
    offered = ", ".join(fitting) or "none there is"
    if name not in beats:
        near = difflib.get_close_matches(name, beats, 1, 0.4)
        hint = f"nearest: {near[0]}" if near else ""
        raise PlanError(sentence("drum pattern", f"'{name}'", f"one for {metre}: {offered}", hint))
    if len(plan.metre.metres) > 1:
        raise PlanError(sentence(f"drum pattern '{name}'", "a plan whose metre changes", "one metre"))
    if beats[name].metre != metre:
        raise PlanError(sentence(f"drum pattern '{name}'", f"is in {beats[name].metre}", f"one for {metre}: {offered}"))
    hits = hits_of(beats[name], plan.bars, click=click, sections=plan.sections)
    if plan.swing_ratio == 1.0:
        return hits
    swung = np.array([swing_ticks(at, plan.swing_ratio) for at in hits.at_tick.tolist()], dtype=np.int64)
    return Hits(swung, hits.key.copy(), hits.strength.copy())
