"""A hand-in: a student's raw takes of one set in one file, `heeltap.handin/1`.

A plain zip, so that anybody can look into it::

    manifest.json             who, which set, the figures as the student saw them, SHA-256 of every other file
    takes/001/journal.jsonl   the raw take, byte for byte       (heeltap.files.takes.journal)
    takes/001/context.json    how it was made, byte for byte    (heeltap.files.takes.metadata)
    takes/002/...

The same content gives the same bytes: no date of packing, fixed order and attributes. We may add fields within
version 1; readers ignore those that they do not know. `heeltap.files.handin_read` reads it.

Inside: `Manifest`, `TakeEntry`, `Figures`, `handin_bytes`, `names_of`, `manifest_from`, and the limits of a hand-in.
"""

import hashlib
import io
import re
import zipfile
from collections.abc import Sequence
from typing import Annotated

import msgspec

from heeltap.errors import TakeFileError

__all__ = [
    "FORMAT",
    "MANIFEST",
    "MOST_FILE_BYTES",
    "MOST_TAKES",
    "Figures",
    "Manifest",
    "TakeEntry",
    "handin_bytes",
    "manifest_from",
    "names_of",
]

FORMAT = "heeltap.handin/1"

MANIFEST = "manifest.json"

MOST_TAKES = 200
"""Takes in one hand-in. A set asks for 10 to 60. Ours."""

MOST_FILE_BYTES = 16 << 20
"""Of the file itself: 200 takes of three minutes of eighths have under 3 MB. Ours."""

_FORMAT_SHAPE = re.compile(r"heeltap\.handin/(\d+)")

_Finite = Annotated[float, msgspec.Meta(ge=-1e9, le=1e9)]
_Share = Annotated[float, msgspec.Meta(ge=0, le=1)]
_Count = Annotated[int, msgspec.Meta(ge=0, le=2**31)]
_Sha = Annotated[str, msgspec.Meta(pattern="^[0-9a-f]{64}$")]
_Text = Annotated[str, msgspec.Meta(max_length=200)]


class Figures(msgspec.Struct, frozen=True):
    """The figures of one take as somebody's heeltap gave them."""

    n: _Count
    """Strokes that they rest on."""
    bias_ms: _Finite | None
    """Negative is early."""
    spread_ms: _Finite | None
    in_pocket: _Share | None
    """Share of the played strokes, 0-1."""
    missed: _Count = 0
    """Planned notes that were not played."""


class TakeEntry(msgspec.Struct, frozen=True):
    """One take in a hand-in."""

    folder: _Text
    """What its folder is called on the student's machine: for talking about it, never a path."""
    item: Annotated[int, msgspec.Meta(ge=1, le=999)]
    """Number of the set's exercise that it is a take of, as the student's heeltap saw it."""
    journal_sha256: _Sha
    context_sha256: _Sha
    figures: Figures | None = None
    """As the student saw them; None when the take could not be scored."""


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a hand-in says about itself. None of it is believed: the teacher's side scores the raw takes."""

    format: str = FORMAT
    heeltap: _Text
    """Version that wrote it."""
    name: _Text
    """The student's, as text."""
    set_title: _Text
    set_fingerprint: _Sha
    takes: Annotated[list[TakeEntry], msgspec.Meta(max_length=MOST_TAKES)]


class _ManifestHead(msgspec.Struct):
    format: str


def names_of(number: int) -> tuple[str, str]:
    """Names inside the zip of a take's journal and context; ``number`` counts from 1."""
    return f"takes/{number:03d}/journal.jsonl", f"takes/{number:03d}/context.json"


def handin_bytes(manifest: Manifest, takes: Sequence[tuple[bytes, bytes]]) -> bytes:
    """The whole file: journal and context of every take in the manifest's order.

    Byte for byte the same for the same content, wherever the same zlib packs it.

    Raises
    ------
    ValueError
        The hashes in the manifest are not those of the takes.
    """
    stated = [(entry.journal_sha256, entry.context_sha256) for entry in manifest.takes]
    if stated != [(_sha(journal), _sha(context)) for journal, context in takes]:
        raise ValueError("the manifest's hashes are not those of the takes")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        _add(archive, MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1) + b"\n")
        for number, take in enumerate(takes, 1):
            for name, data in zip(names_of(number), take, strict=True):
                _add(archive, name, data)
    return buffer.getvalue()


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    """One entry with nothing of this machine or this hour in it."""
    info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    info.create_system = 3
    info.external_attr = 0o100644 << 16
    archive.writestr(info, data, zipfile.ZIP_DEFLATED, 9)


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def manifest_from(data: bytes, where: str) -> Manifest:
    """The manifest in JSON bytes.

    Raises
    ------
    TakeFileError
        It is none, is damaged, or was written by a newer heeltap; ``where`` names it.
    """
    try:
        version = msgspec.json.decode(data, type=_ManifestHead).format
        known = _FORMAT_SHAPE.fullmatch(version[:40])
        if known and int(known[1]) > 1:
            raise TakeFileError(where, f"format {version!r}", repr(FORMAT), "written by a newer heeltap: update")
        if version != FORMAT:
            raise TakeFileError(where, f"format {version[:40]!r}", repr(FORMAT))
        return msgspec.json.decode(data, type=Manifest)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise TakeFileError(where, f"{MANIFEST} is not a hand-in's: {error}", FORMAT) from error
