"""The measured delays and self-tests of your gear, newest first, one for each pair of ports.

Two JSON files in the home folder, ``calibration.json`` (`heeltap.calibration/1`) and ``selftest.json``
(`heeltap.selftest/1`). heeltap writes each one whole and moves it into place, so a kill leaves the old one or the new one. We
may add fields within a version; readers ignore those that they do not know.

Inside: `Calibrated`, `Selftested`, `calibrations`, `keep_calibration`, `forget_calibrations`, `selftests`,
`keep_selftest`, `read_store`, `write_store`.
"""

import os
import re
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec

from heeltap.errors import InputFileError, StoreError, sentence
from heeltap.files.paths import home
from heeltap.files.regular import read_regular
from heeltap.model.result import FEEL
from heeltap.write import write_whole

__all__ = [
    "FEEL",
    "Calibrated",
    "Selftested",
    "calibration_file",
    "calibrations",
    "forget_calibrations",
    "keep_calibration",
]
__all__ += ["keep_selftest", "read_store", "selftest_file", "selftests", "write_store"]

_Finite = Annotated[float, msgspec.Meta(ge=-1e6, le=1e6)]
_Positive = Annotated[float, msgspec.Meta(ge=0, le=1e6)]
_Count = Annotated[int, msgspec.Meta(ge=0, le=2**31)]

_MOST_BYTES = 4 << 20

_KEPT = 50
"""So many pairs of ports are remembered."""


class Calibrated(msgspec.Struct, frozen=True, kw_only=True):
    """One calibration."""

    in_port: str
    out_port: str
    """Empty for a silent click."""
    method: str
    """``same-path``, ``microphone`` or ``feel``."""
    delay_ms: _Finite
    """Taken away from every offset; for ``feel`` the taps' median, which is taken away from nothing."""
    uncertainty_ms: _Positive
    """95 % half-width."""
    date: str
    """ISO 8601 with the local offset."""
    buffer: str = ""
    """Of the sound when it was made, such as ``128 frames at 48000 Hz``; empty when not known."""
    n: _Count = 0
    """Strokes that it rests on."""
    spread_ms: _Positive | None = None
    heeltap: str = ""
    """Version that wrote it."""


class Selftested(msgspec.Struct, frozen=True, kw_only=True):
    """One self-test."""

    in_port: str
    out_port: str
    loop: str
    """``ports`` (a cable or server), ``virtual`` (through the system's MIDI) or ``inside`` (the engine only)."""
    summary: str
    """One line."""
    trusted: bool
    """Whether scores of this route may be trusted."""
    stamp_p99_ms: _Positive
    click_p99_ms: _Positive
    date: str
    report: dict[str, Any] = {}
    """Everything that was measured, as `heeltap selftest --json` writes it."""


Row = TypeVar("Row", Calibrated, Selftested)


class _CalibrationHead(msgspec.Struct):
    format: str


class _Calibrations(msgspec.Struct, frozen=True, kw_only=True):
    format: str = "heeltap.calibration/1"
    rows: list[Calibrated]


class _Selftests(msgspec.Struct, frozen=True, kw_only=True):
    format: str = "heeltap.selftest/1"
    rows: list[Selftested]


def calibration_file() -> Path:
    """Where calibrations are kept; it may not exist yet."""
    return home() / "calibration.json"


def selftest_file() -> Path:
    """Where self-tests are kept; it may not exist yet."""
    return home() / "selftest.json"


def calibrations() -> list[Calibrated]:
    """All that are kept, newest first; raises `StoreError` when the file is damaged or newer than we are."""
    found = read_store(calibration_file(), _Calibrations, "heeltap.calibration/1")
    return [] if found is None else found.rows


def selftests() -> list[Selftested]:
    """All that are kept, newest first; raises `StoreError` when the file is damaged or newer than we are."""
    found = read_store(selftest_file(), _Selftests, "heeltap.selftest/1")
    return [] if found is None else found.rows


def keep_calibration(row: Calibrated) -> Path:
    """Keep one in place of an earlier one of its ports and kind: a feel offset replaces no calibration.

    Raises
    ------
    StoreError
        The file cannot be read or written.
    """
    feels = row.method == FEEL
    rest = [old for old in calibrations() if not (_same(old, row) and (old.method == FEEL) is feels)]
    return write_store(calibration_file(), _Calibrations(rows=[row, *rest][:_KEPT]))


def forget_calibrations(in_port: str | None = None, out_port: str | None = None) -> int:
    """Drop every calibration whose ports begin with these names, or all without them, feel offsets too.

    Returns how many there were; raises `StoreError`. A device that is gone can be forgotten as well.
    """
    rows = calibrations()
    left = [row for row in rows if not (_begins(row.in_port, in_port) and _begins(row.out_port, out_port))]
    if len(left) < len(rows):
        write_store(calibration_file(), _Calibrations(rows=left))
    return len(rows) - len(left)


def _begins(name: str, wanted: str | None) -> bool:
    return wanted is None or name.casefold().startswith(wanted.casefold())


def keep_selftest(row: Selftested) -> Path:
    """Keep one in place of an earlier one of its ports; raises `StoreError`."""
    rest = [old for old in selftests() if not _same(old, row)]
    return write_store(selftest_file(), _Selftests(rows=[row, *rest][:_KEPT]))


def _same(one: Row, other: Row) -> bool:
    return (one.in_port, one.out_port) == (other.in_port, other.out_port)


Store = TypeVar("Store")


def read_store(path: Path, kind: type[Store], wanted: str) -> Store | None:
    """What is kept in a file of measurements; None where there is no file.

    Parameters
    ----------
    path : Path
    kind : type
        A msgspec Struct.
    wanted : str
        Its format with the version, such as ``heeltap.calibration/1``.

    Raises
    ------
    StoreError
        The file is damaged, cannot be read, or is newer than we are.
    """
    hint = "move it away to start anew"
    try:
        if not os.path.lexists(path):
            return None
        data = read_regular(path, InputFileError, _MOST_BYTES, "what heeltap keeps of your gear", hint=hint)
        version = msgspec.json.decode(data, type=_CalibrationHead).format
        known = re.fullmatch(re.escape(wanted[:-1]) + r"(\d+)", version)
        if version != wanted:
            newer = "written by a newer heeltap: update" if known and int(known[1]) > int(wanted[-1]) else hint
            raise StoreError(sentence(str(path), f"format {version!r}", repr(wanted), newer))
        return msgspec.json.decode(data, type=kind)
    except InputFileError as error:
        raise StoreError(str(error)) from error
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise StoreError(sentence(str(path), f"is damaged: {error}", wanted, hint)) from error


def write_store(path: Path, content: object) -> Path:
    """Write the file whole or not at all."""
    try:
        return write_whole(path, msgspec.json.format(msgspec.json.encode(content), indent=1) + b"\n", make_folder=True)
    except InputFileError as error:
        raise StoreError(str(error)) from error
