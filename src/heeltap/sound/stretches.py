"""Stretches of schedules one after the other: cut out, slowed down, softer, with a mark between them. Pure arithmetic.

Inside: `until`, `begun_at`, `stretch`, `slower`, `softer`, `mark`, `BREATH_US`.
"""

from collections import Counter
from dataclasses import replace

import numpy as np

from heeltap.model.arrays import as_ints
from heeltap.model.messages import OFF, PEDAL, Schedule, is_note_on, merge
from heeltap.sound.percussion import CHANNEL

__all__ = ["BREATH_US", "begun_at", "mark", "slower", "softer", "stretch", "until"]

BREATH_US = 1_000_000
"""Silence between two stretches, in which the mark sounds: nobody hears them as one phrase. Ours."""

_MARK_KEY, _MARK_VELOCITY, _MARK_GAP_US = 81, 60, 160_000
"""An open triangle, which no click and no kit of ours uses for time."""


def until(schedule: Schedule, until_us: int) -> Schedule:
    """The schedule without what begins after a moment; what sounds then is still let go.

    Parameters
    ----------
    schedule : Schedule
    until_us : int
        Microseconds from bar 1, beat 1.

    Returns
    -------
    Schedule
    """
    sounding: Counter[bytes] = Counter()
    rows = []
    for i, (due, message) in enumerate(zip(schedule.due_us.tolist(), schedule.messages, strict=True)):
        key, ends = bytes((message[0] & 0x0F, message[1])), schedule.kind[i] == OFF
        if due <= until_us or (ends and sounding[key] > 0):
            sounding[key] += -1 if ends else 1
            rows.append(i)
    return replace(_rows(schedule, rows), end_us=min(schedule.end_us, until_us))


def begun_at(schedule: Schedule, from_us: int) -> Schedule:
    """The rest of a schedule, its times counted from a moment.

    What began earlier is not heard, and what ends it is not sent: it could end a note that began since. A pedal that is
    down then is put down at once.
    """
    sounding: Counter[tuple[int, int]] = Counter()
    feet: dict[int, bytes] = {}
    kept = []
    for i, (due, message) in enumerate(zip(schedule.due_us.tolist(), schedule.messages, strict=True)):
        code, key = message[0] & 0xF0, (message[0] & 0x0F, message[1] if len(message) > 1 else 0)
        begins, ends = code == 0x90 and message[2] > 0, code == 0x80 or (code == 0x90 and message[2] == 0)
        if ends and sounding[key]:
            sounding[key] -= 1
        elif due >= from_us:
            kept.append(i)
        elif begins:
            sounding[key] += 1
        elif code == 0xB0 and message[1] == 64:
            feet[message[0] & 0x0F] = message
    rest = _rows(schedule, kept)
    down = [message for _, message in sorted(feet.items()) if message[2] >= 64]
    first = Schedule(as_ints([0] * len(down)), tuple(down), (PEDAL,) * len(down), 0)
    return merge(first, replace(rest, due_us=rest.due_us - from_us, end_us=max(0, rest.end_us - from_us)))


def _rows(schedule: Schedule, rows: list[int]) -> Schedule:
    """Some messages of a schedule."""
    return Schedule(
        schedule.due_us[as_ints(rows)],
        tuple(schedule.messages[i] for i in rows),
        tuple(schedule.kind[i] for i in rows),
        schedule.end_us,
    )


def stretch(schedule: Schedule, low_us: int, high_us: int, at_us: int) -> Schedule:
    """What begins between two moments, moved to a new time; at its end every note is let go and every pedal comes up.

    Parameters
    ----------
    schedule : Schedule
    low_us, high_us : int
        Microseconds from bar 1, beat 1.
    at_us : int
        Where it begins then.

    Returns
    -------
    Schedule
    """
    part, length_us = begun_at(until(schedule, high_us - 1), low_us), high_us - low_us
    feet = sorted({m[0] for m, kind in zip(part.messages, part.kind, strict=True) if kind == PEDAL})
    due_us = np.append(np.minimum(part.due_us, length_us), np.full(len(feet), length_us)) + at_us
    up = tuple(bytes((foot, 64, 0)) for foot in feet)
    return Schedule(due_us, part.messages + up, part.kind + (PEDAL,) * len(feet), at_us + length_us)


def slower(schedule: Schedule, percent: float) -> Schedule:
    """The schedule at so many per cent less of its tempo; pitches stay.

    Parameters
    ----------
    schedule : Schedule
    percent : float
        Below 100; negative is faster.

    Returns
    -------
    Schedule
    """
    factor = 100.0 / (100.0 - percent)
    return replace(
        schedule,
        due_us=np.rint(schedule.due_us * factor).astype(np.int64),
        end_us=round(schedule.end_us * factor),
    )


def softer(schedule: Schedule, factor: float) -> Schedule:
    """The schedule with every stroke so many times as loud; samples and most synthesizers follow the velocity.

    Parameters
    ----------
    schedule : Schedule
    factor : float
        From 0 to 1. No stroke goes below velocity 1.

    Returns
    -------
    Schedule
    """
    messages = tuple(m[:2] + bytes((max(1, round(m[2] * factor)),)) if is_note_on(m) else m for m in schedule.messages)
    return replace(schedule, messages=messages)


def mark(at_us: int, times: int) -> Schedule:
    """Short high strokes that say which version comes: once the first, twice the second.

    Parameters
    ----------
    at_us : int
        When the first of them sounds.
    times : int

    Returns
    -------
    Schedule
    """
    rows = [(at_us + number * _MARK_GAP_US, number) for number in range(times)]
    on, off = bytes((0x90 | CHANNEL, _MARK_KEY, _MARK_VELOCITY)), bytes((0x80 | CHANNEL, _MARK_KEY, 0))
    due = as_ints(time for at, _ in rows for time in (at, at + _MARK_GAP_US // 2))
    end_us = at_us + times * _MARK_GAP_US
    return Schedule(due, (on, off) * times, ("mark", OFF) * times, end_us)
