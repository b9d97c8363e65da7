"""A take and its plan laid on each other, once it is known where the take lies; and what to say about that.

Notes that were played before the same bars again are left aside, and so are the bars that the take never reached: neither is
the player's timing. Ours.

Inside: `Laid`, `at_its_place`.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from heeltap.analysis.place import Place, Run, at_tempo, beat_us, find_place
from heeltap.errors import InputFileError
from heeltap.model.notes import Notes
from heeltap.model.plan import Plan, kept_rows
from heeltap.units import bpm_from_us_per_quarter
from heeltap.wording import count, early_late

__all__ = ["Laid", "at_its_place"]

_INTERVALS = {1: "a semitone", 2: "a tone", 5: "a fourth", 7: "a fifth", 12: "an octave", 24: "two octaves"}


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """What is judged."""

    plan: Plan
    notes: Notes
    said: tuple[str, ...] = ()
    """Where the take lies, in sentences; none where it is an ordinary one."""


def at_its_place(plan: Plan, notes: Notes, *, delay_known: bool = False, file: str = "take") -> Laid:
    """A take on its plan, without what is not playing.

    Parameters
    ----------
    plan : Plan
    notes : Notes
        The take, on the click's clock.
    delay_known : bool
        What lies between finger and number is known: then everything late is the player, however much it is.
    file : str
        What a refusal calls the take.

    Returns
    -------
    Laid

    Raises
    ------
    InputFileError
        The take is not of this plan: chance alone would have found as many of its notes.
    """
    place = find_place(plan, notes)
    if not place.is_the_plan:
        raise _another(place, file)
    if not place.runs:
        return Laid(plan, notes)
    if delay_known:
        place = replace(place, recording_us=0)
    own = at_tempo(plan, place.tempo_ratio) if place.tempo_ratio != 1.0 else plan
    return Laid(_reached(place, own), _moved(place, own, notes), tuple(_sentences(place, plan, own)))


def _reached(place: Place, plan: Plan) -> Plan:
    """The plan without the notes that the take never came to."""
    rows = np.zeros(len(plan), bool)
    for run in place.runs:
        rows |= (plan.at_tick >= run.first_tick) & (plan.at_tick <= run.last_tick)
    return kept_rows(plan, rows)


def _moved(place: Place, plan: Plan, notes: Notes) -> Notes:
    """The notes at their places; of bars that were played again only the last time counts."""
    run_of = np.clip(
        np.searchsorted([run.first for run in place.runs], np.arange(len(notes)), side="right") - 1, 0, None
    )
    shift = np.array([_shift_us(place, plan, run) for run in place.runs], dtype=np.int64)
    onset = notes.onset_us - shift[run_of]
    keep = np.ones(len(notes), bool)
    for number, run in enumerate(place.runs):
        for later in place.runs[number + 1 :]:
            low, high = plan.at_us[np.searchsorted(plan.at_tick, [later.first_tick, later.last_tick])]
            if later.first_tick <= run.last_tick and later.last_tick >= run.first_tick:
                half = beat_us(plan) / 2
                keep &= ~((run_of == number) & (onset > low - half) & (onset < high + half))
    order = np.argsort(onset, kind="stable")
    order = order[keep[order]]
    columns = {name: getattr(notes, name)[order] for name in ("velocity", "channel", "track", "duration_us")}
    return Notes(onset_us=onset[order], pitch=notes.pitch[order] - place.semitones, **columns)


def _shift_us(place: Place, plan: Plan, run: Run) -> int:
    """What is taken away from the notes of a run: whole beats, and what the recording adds."""
    if not run.beats and abs(run.shift_us) > beat_us(plan) and not place.recording_us:
        return run.shift_us
    return round(run.beats * beat_us(plan)) + place.recording_us


def _another(place: Place, file: str) -> InputFileError:
    notes = count(place.notes, "note")
    found = f"{place.found} of its {notes} lie where the plan has them, and chance alone gives {place.chance}"
    return InputFileError(file, found, "a take of this plan", "check --plan and --part")


def _sentences(place: Place, plan: Plan, own: Plan) -> list[str]:
    """Where the take lies: its key, its tempo, its beginning, every change of place, what the recording adds."""
    said = []
    if place.semitones:
        size = abs(place.semitones)
        name = _INTERVALS.get(size, count(size, "semitone"))
        said.append(
            f"You played {name} {'higher' if place.semitones > 0 else 'lower'} than the plan; heeltap judges it so."
        )
    if place.tempo_ratio != 1.0:
        played, written = (bpm_from_us_per_quarter(int(one.tempo.us_per_quarter[0])) for one in (own, plan))
        said.append(
            f"You played at {played:.4g} bpm, and the plan is written at {written:.4g}; heeltap judges you at yours."
        )
    said += _beginning(place.runs[0], own)
    for before, after in pairwise(place.runs):
        said.append(_change(before, after, own))
    if place.recording_us:
        ms = place.recording_us / 1000
        said.append(
            f"Everything lies {early_late(ms)}: that looks like the recording, not like you, and heeltap takes it away. If it "
            "was you, say --delay 0."
        )
    return said


def _beginning(run: Run, plan: Plan) -> list[str]:
    if not run.beats:
        return []
    if run.beats < 0 and run.first_bar > 1:
        return [f"The file begins at bar {run.first_bar} of the plan."]
    return [
        f"Everything lies {_beats(run.beats, plan)} {'late' if run.beats > 0 else 'early'}; heeltap takes that away."
    ]


def _change(before: Run, after: Run, plan: Plan) -> str:
    """How the take gets from one place to the next."""
    moved = after.beats - before.beats
    ended = before.last_bar
    begins = after.first_bar if after.first_bar > ended else after.first_bar + 1
    bars = -moved / _beats_in_bar(plan)
    if bars >= 1 and bars == round(bars) and after.first_bar >= ended:
        left = f"Bar {ended + 1} was" if bars == 1 else f"Bars {ended + 1} to {ended + round(bars)} were"
        return f"{left} left out; from there on everything is {_beats(moved, plan)} early, and heeltap takes that away."
    if after.first_bar <= before.first_bar or after.first_bar < before.last_bar:
        return f"After bar {before.last_bar} you began again at bar {after.first_bar}; of bars played twice the last time counts."
    if not moved:
        return (
            f"From bar {begins} on everything lies elsewhere by {abs(after.shift_us - before.shift_us) / 1000:.0f} ms."
        )
    late = "late" if moved > 0 else "early"
    return f"From bar {begins} on everything is {_beats(moved, plan)} {late}, and heeltap takes that away."


def _beats_in_bar(plan: Plan) -> float:
    metre = plan.metre.metres[0]
    return metre.bar_quarters / metre.beat_quarters


def _beats(beats: float, plan: Plan) -> str:
    """A number of beats, in bars where it is whole ones: "a bar", "2 beats"."""
    size = abs(beats)
    if size % _beats_in_bar(plan) == 0:
        bars = round(size / _beats_in_bar(plan))
        return "a bar" if bars == 1 else count(bars, "bar")
    return "a beat" if size == 1 else count(round(size), "beat")
