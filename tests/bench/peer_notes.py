"""The note tables that the research aligner (parangonar) reads, made from a `Performance`, and its answer as a match."""

import importlib
import warnings
from collections.abc import Callable

import numpy as np

from heeltap.model.arrays import IntArray
from tests.makers.performances import Performance

__all__ = ["PEERS", "peer_match"]

PEERS = ("DualDTWNoteMatcher", "AutomaticNoteMatcher")
"""Its matchers that need no network weights; the first is its best on these pieces."""

_SCORE = [
    ("onset_beat", "f4"),
    ("duration_beat", "f4"),
    ("onset_quarter", "f4"),
    ("duration_quarter", "f4"),
    ("onset_div", "i4"),
    ("duration_div", "i4"),
    ("pitch", "i4"),
    ("voice", "i4"),
    ("id", "U16"),
    ("is_grace", "b"),
    ("divs_pq", "i4"),
]
_TAKE = [("onset_sec", "f4"), ("duration_sec", "f4"), ("pitch", "i4"), ("velocity", "i4"), ("id", "U16")]


def _tables(piece: Performance) -> tuple[np.ndarray, np.ndarray, IntArray]:
    order = np.lexsort((piece.pitch, piece.beat))
    score = np.zeros(order.size, _SCORE)
    score["onset_beat"] = score["onset_quarter"] = piece.beat[order]
    score["duration_beat"] = score["duration_quarter"] = 0.5
    score["onset_div"] = np.round(480 * (piece.beat[order] - piece.beat.min()))
    score["duration_div"], score["voice"], score["divs_pq"] = 240, 1, 480
    score["pitch"] = piece.pitch[order]
    score["id"] = [f"s{row}" for row in order]
    take = np.zeros(piece.take_us.size, _TAKE)
    take["onset_sec"], take["duration_sec"] = piece.take_us / 1e6, 0.2
    take["pitch"], take["velocity"] = piece.take_pitch, 64
    take["id"] = [f"p{row}" for row in range(piece.take_us.size)]
    return score, take, order


def peer_match(name: str) -> Callable[[Performance], IntArray]:
    """A function that matches a performance by one of `PEERS`; its warnings about short windows are kept quiet."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        matcher = getattr(importlib.import_module("parangonar"), name)()

    def match(piece: Performance) -> IntArray:
        score, take, _ = _tables(piece)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            answer = matcher(score, take)
        out = np.full(piece.beat.size, -1, np.int64)
        for row in answer:
            if row["label"] == "match":
                out[int(str(row["score_id"])[1:])] = int(str(row["performance_id"])[1:])
        return out

    return match
