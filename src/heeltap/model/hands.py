"""Which hand played, told by where a keyboard is split: below is the left hand, at or above the right.

Inside: `with_hands` (a plan whose hands nobody wrote down), `hand_lines` (keys for an aligner that must keep the hands
apart), `side_key`, `hands_of`.
"""

from dataclasses import replace

import numpy as np

from heeltap.model.arrays import IntArray
from heeltap.model.pitch import LEFT, RIGHT
from heeltap.model.plan import ANY_PITCH, Plan

__all__ = ["hand_lines", "hands_of", "side_key", "with_hands"]

_LEFT_KEY, _RIGHT_KEY = 40, 88
"""Stand-ins four octaves apart: no finger misses that far, so the aligner lets a hand take the other's stroke last."""


def hands_of(pitch: IntArray, split_key: int) -> IntArray:
    """Code of the hand that plays each key.

    Parameters
    ----------
    pitch : int64, shape (n,)
        Key numbers.
    split_key : int
        Lowest key of the right hand.

    Returns
    -------
    int64, shape (n,)
        Codes into `heeltap.model.plan.HANDS`.
    """
    return np.where(pitch < split_key, LEFT, RIGHT).astype(np.int64)


def with_hands(plan: Plan, split_key: int | None) -> Plan:
    """The plan with a hand for every note that has a key and no hand.

    Parameters
    ----------
    plan : Plan
    split_key : int or None
        Lowest key of the right hand; without it the plan stays as it is.

    Returns
    -------
    Plan
    """
    if split_key is None:
        return plan
    unknown = (plan.hand == 0) & (plan.pitch != ANY_PITCH)
    if not np.any(unknown):
        return plan
    return replace(plan, hand=np.where(unknown, hands_of(plan.pitch, split_key), plan.hand))


def hand_lines(plan: Plan, pitch: IntArray, split_key: int | None) -> tuple[IntArray, IntArray]:
    """Keys of plan and take for the aligner: stand-ins for the hands where the plan asks for hands on any key.

    Parameters
    ----------
    plan : Plan
    pitch : int64, shape (m,)
        Keys that were played.
    split_key : int, optional
        Without it, or where the plan names keys or no hands, both sides are left as they are.

    Returns
    -------
    planned : int64, shape (n,)
        One a note of the plan.
    played : int64, shape (m,)
    """
    if split_key is None or np.any(plan.pitch != ANY_PITCH) or not np.any(plan.hand):
        return plan.pitch, pitch
    planned = np.where(plan.hand == LEFT, _LEFT_KEY, np.where(plan.hand == RIGHT, _RIGHT_KEY, ANY_PITCH))
    return planned.astype(np.int64), np.where(pitch < split_key, _LEFT_KEY, _RIGHT_KEY).astype(np.int64)


def side_key(pitch: int, split_key: int) -> int:
    """The stand-in of one played key, as `hand_lines` gives it.

    Parameters
    ----------
    pitch : int
        Key number.
    split_key : int
        Lowest key of the right hand.

    Returns
    -------
    int
        A key number.
    """
    return _LEFT_KEY if pitch < split_key else _RIGHT_KEY
