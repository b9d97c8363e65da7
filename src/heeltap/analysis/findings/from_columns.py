"""The table that findings read: an Offsets, or a plain dict of columns filled up with defaults.

Ours, where no source is named.

Inside: `as_offsets`.
"""

import difflib
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
import numpy.typing as npt

from heeltap.model.arrays import FloatArray, IntArray
from heeltap.model.offsets import Offsets
from heeltap.model.plan import HANDS, KINDS, Section
from heeltap.model.sections import section_columns
from heeltap.model.subdivisions import DIVISIONS, division_of

__all__ = ["as_offsets"]

_NAMES = tuple(f.name for f in fields(Offsets) if f.name != "sections")
_NEEDED = ("offset_ms", "bar", "beat")
_FLOATS = {"offset_ms", "beat", "interval_ms", "rest_ms", "spread_ms", "confidence", "reference_sd_ms", "beat_ms"}
_WORDS = {"division": DIVISIONS, "kind": KINDS, "hand": HANDS}


def as_offsets(table: Offsets | Mapping[str, npt.ArrayLike]) -> Offsets:
    """The table as Offsets in time order, rows without an offset left out.

    Parameters
    ----------
    table : Offsets, or a mapping of equally long columns named as those of Offsets
        Needed: ``offset_ms``, ``bar``, ``beat``. ``division``, ``kind`` and ``hand`` may be names instead of codes;
        ``section`` may be any labels. Defaults: division from the beat; no sections; kind groove; hand not known;
        loudness, gaps and beats all the same; changes from the sections; leaps from the pitches.

    Returns
    -------
    Offsets
        Times in ms.

    Raises
    ------
    ValueError
        A needed column is missing, a column is not one of the table's, has another length, or holds an unknown name.
    """
    if isinstance(table, Offsets):
        good = np.isfinite(table.offset_ms)
        return table if bool(good.all()) else table.pick(good)
    columns = {name: np.asarray(values) for name, values in table.items() if name != "sections"}
    _check(columns)
    order = _order(columns)
    return _fill({name: values[order] for name, values in columns.items()})


def _check(columns: Mapping[str, npt.NDArray[Any]]) -> None:
    for name in columns:
        if name not in _NAMES:
            near = difflib.get_close_matches(name, _NAMES, 1)
            raise ValueError(
                f"findings: no column {name!r}; expected one of {', '.join(_NAMES)}"
                + (f" (did you mean {near[0]!r}?)" if near else "")
            )
    for name in _NEEDED:
        if name not in columns:
            raise ValueError(f"findings: column {name!r} is missing; expected at least {', '.join(_NEEDED)}")
    shape = columns["offset_ms"].shape
    for name, values in columns.items():
        if values.shape != shape or values.ndim != 1:
            raise ValueError(f"findings: column {name!r} has shape {values.shape}; expected {shape} as offset_ms has")


def _order(columns: Mapping[str, npt.NDArray[Any]]) -> IntArray:
    """Rows in time order that have an offset."""
    keys = (columns["onset_us"],) if "onset_us" in columns else (columns["beat"], columns["bar"])
    order = np.lexsort(keys)
    return order[np.isfinite(columns["offset_ms"][order].astype(np.float64))]


def _fill(given: Mapping[str, npt.NDArray[Any]]) -> Offsets:
    """Codes for names, defaults for what is missing."""
    n = given["bar"].size
    bar = given["bar"].astype(np.int64)
    beat_ms = _floats(given, "beat_ms", n, 500.0)
    section, song = _sections(given, bar)
    to_change, since = section_columns(bar, song)[1:]
    pitch = _ints(given, "pitch", n, 60)
    filled: dict[str, Any] = {
        "onset_us": np.arange(n, dtype=np.int64),
        "offset_ms": given["offset_ms"],
        "bar": bar,
        "beat": given["beat"],
        "division": division_of(given["beat"].astype(np.float64)),
        "section": section,
        "kind": np.zeros(n, np.int64),
        "hand": np.zeros(n, np.int64),
        "pitch": pitch,
        "drum": np.full(n, -1),
        "velocity": np.full(n, 64),
        "interval_ms": beat_ms,
        "rest_ms": beat_ms,
        "leap": np.where(_ints(given, "drum", n, -1) < 0, np.diff(pitch, prepend=pitch[:1]), 0),
        "spread_ms": np.zeros(n),
        "bars_to_change": to_change,
        "bars_since_change": since,
        "confidence": np.ones(n),
        "reference_sd_ms": np.zeros(n),
        "beat_ms": beat_ms,
    }
    for name in given:
        if name != "section":
            filled[name] = _codes(name, given[name])
    typed: Any = {k: np.array(v, np.float64 if k in _FLOATS else np.int64) for k, v in filled.items()}
    return Offsets(**typed, sections=song)


def _codes(name: str, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Codes of a column that may hold names."""
    if values.dtype.kind not in "US" and values.dtype != object:
        return values
    words = _WORDS.get(name, ())
    unknown = sorted({str(v) for v in values.tolist() if v not in words})
    if unknown:
        raise ValueError(
            f"findings: column {name!r} holds {unknown[0]!r}; expected " + (", ".join(map(repr, words)) or "numbers")
        )
    return np.array([words.index(v) for v in values.tolist()], np.int64)


def _sections(given: Mapping[str, npt.NDArray[Any]], bar: IntArray) -> tuple[IntArray, tuple[Section, ...]]:
    """Index of each stroke's section in order of appearance, and the sections; numbers below 0 are outside all."""
    if "section" not in given or not bar.size:
        return np.full(bar.size, -1, np.int64), ()
    labels = given["section"]
    numbers = labels.dtype.kind in "iuf"
    inside = labels >= 0 if numbers else np.ones(bar.size, np.bool_)
    starts = np.flatnonzero(np.r_[True, labels[1:] != labels[:-1]])
    index = np.full(bar.size, -1, np.int64)
    song: list[Section] = []
    for start, end in zip(starts, np.r_[starts[1:], bar.size], strict=True):
        if inside[start]:
            index[start:end] = len(song)
            song.append(Section(str(labels[start]), int(bar[start]), int(bar[int(end) - 1])))
    return index, tuple(song)


def _floats(given: Mapping[str, npt.NDArray[Any]], name: str, n: int, default: float) -> FloatArray:
    return given[name].astype(np.float64) if name in given else np.full(n, default)


def _ints(given: Mapping[str, npt.NDArray[Any]], name: str, n: int, default: int) -> IntArray:
    return given[name].astype(np.int64) if name in given else np.full(n, default, np.int64)
