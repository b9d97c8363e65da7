"""What your ear was measured to hear, newest first: ``hearing.json`` (`heeltap.hearing/1`) in the home folder.

We may add fields within a version; readers ignore those that they do not know.

Inside: `HearingTest`, `hearings`, `keep_hearing`, `hearing_file`.
"""

from pathlib import Path
from typing import Annotated

import msgspec

from heeltap.files.calibrations import read_store, write_store
from heeltap.files.paths import home

__all__ = ["HearingTest", "hearing_file", "hearings", "keep_hearing"]

_FORMAT = "heeltap.hearing/1"

_KEPT = 500

_Ms = Annotated[float, msgspec.Meta(ge=-1e4, le=1e4)]


class HearingTest(msgspec.Struct, frozen=True, kw_only=True):
    """One measurement."""

    task: str
    """``side`` (early or late?) or ``tighter`` (which of two?)."""
    date: str
    """ISO 8601 with the local offset."""
    threshold_ms: _Ms | None
    """Heard right in three of four answers; None where it could not be measured."""
    low_ms: _Ms | None = None
    """Of the 95 % interval."""
    high_ms: _Ms | None = None
    answers: Annotated[int, msgspec.Meta(ge=0, le=100_000)] = 0
    material: str = ""
    """What was heard."""


class _Hearings(msgspec.Struct, frozen=True, kw_only=True):
    format: str = _FORMAT
    rows: list[HearingTest]


def hearing_file() -> Path:
    """Where they are kept; it may not exist yet."""
    return home() / "hearing.json"


def hearings() -> list[HearingTest]:
    """All that are kept, newest first; raises `StoreError` when the file is damaged or newer than we are."""
    found = read_store(hearing_file(), _Hearings, _FORMAT)
    return [] if found is None else found.rows


def keep_hearing(row: HearingTest) -> Path:
    """Keep one before the earlier ones; raises `StoreError`."""
    return write_store(hearing_file(), _Hearings(rows=[row, *hearings()][:_KEPT]))
