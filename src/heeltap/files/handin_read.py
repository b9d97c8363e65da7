"""Read a hand-in that nobody vouches for: in memory only, with a limit on everything that could grow.

heeltap never unpacks it to the disk, so no name in the zip can lead anywhere. A name that tries to is an error all the
same: somebody meant harm, or the file is none of ours. heeltap does not believe the sizes that the zip declares; it
counts the bytes as they come out.

Inside: `HandIn`, `RawTake`, `read_handin`, `shown`, `MOST_TAKE_BYTES`, `MOST_BYTES`, `MOST_RATIO`.
"""

import hashlib
import io
import os
import stat
import struct
import unicodedata
import zipfile
import zlib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from heeltap.errors import TakeFileError
from heeltap.files.handin import MANIFEST, MOST_FILE_BYTES, MOST_TAKES, Manifest, TakeEntry, manifest_from, names_of

__all__ = ["MOST_BYTES", "MOST_RATIO", "MOST_TAKE_BYTES", "HandIn", "RawTake", "read_handin", "shown"]

MOST_TAKE_BYTES = 8 << 20
"""Of one journal or one context, unpacked: an hour of dense playing. Ours."""

MOST_BYTES = 64 << 20
"""Of all, unpacked. Ours."""

MOST_RATIO = 60
"""Unpacked to packed bytes beyond which it is a bomb: over every shipped exercise and the demo song journals
reach 7 and contexts 12. Ours."""

_RATIO_FROM = 1 << 16
"""Bytes below which no ratio is looked at."""

_MOST_ENTRIES = 2 * MOST_TAKES + 1

_ENTRY_HEAD = 30
"""Bytes of an entry's own head before its name (PKWARE's APPNOTE, local file header)."""

_END = struct.Struct("<4s4H2LH")
"""The record at the end of a zip: signature, disks, entries, size and place of the directory, length of the comment."""

_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class RawTake:
    """One take as it came: bytes whose hashes are those that the manifest states, and nothing more is known of them."""

    entry: TakeEntry
    where: str
    """For messages."""
    journal: bytes
    context: bytes


@dataclass(frozen=True, slots=True)
class HandIn:
    """One file that was handed in, whole."""

    file: str
    """Its name, for messages."""
    manifest: Manifest
    name: str
    """The student's, fit to be shown: one line, no invisible characters."""
    takes: tuple[RawTake, ...]
    problems: tuple[str, ...]
    """Takes that had to be left out, a line each."""


def read_handin(path: Path) -> HandIn:
    """The takes in a hand-in.

    A take whose hash does not fit is left out and told in ``problems``; the others stand.

    Raises
    ------
    TakeFileError
        The file as a whole cannot be used: one line that says why.
    """
    where = shown(path.name)
    data = _file_bytes(path, where)
    _directory_size(data, where)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = _entries(archive, where)
            return _contents(archive, entries, where)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        struct.error,
        RuntimeError,
        OSError,
    ) as error:
        raise TakeFileError(where, f"a damaged zip: {shown(str(error))}", "a hand-in as it was written") from error
    except (UnicodeError, ValueError, OverflowError) as error:
        if isinstance(error, TakeFileError):
            raise
        raise TakeFileError(where, f"a damaged zip: {shown(str(error))}", "a hand-in as it was written") from error


def _file_bytes(path: Path, where: str) -> bytes:
    """The file, if it is a regular one of a sane size; a link is not followed."""
    if path.is_symlink():  # asked first, because not every system can refuse to follow one while opening
        raise TakeFileError(where, "is a link", "the hand-in itself")
    try:
        binary = getattr(os, "O_BINARY", 0)
        handle = os.open(path, os.O_RDONLY | binary | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except OSError as error:
        raise TakeFileError(where, f"cannot be read: {error.strerror}", "the hand-in itself") from error
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise TakeFileError(where, "is no regular file", "a hand-in")
        data = file.read(MOST_FILE_BYTES + 1)
    if len(data) > MOST_FILE_BYTES:
        raise TakeFileError(where, f"is larger than {MOST_FILE_BYTES >> 20} MB", "a hand-in")
    return data


def _directory_size(data: bytes, where: str) -> None:
    """Look at the zip's last record before anybody builds a list from it: a directory of a million names costs a GB."""
    if not data.startswith(b"PK"):
        raise TakeFileError(where, "is not a zip" if data else "is empty", "a hand-in", "heeltap handin writes one")
    if len(data) < _END.size or data[-_END.size : -_END.size + 4] != b"PK\x05\x06":
        raise TakeFileError(where, "is cut short, or something follows its end", "a whole zip", "ask for it again")
    *_, entries, size, _, comment = _END.unpack(data[-_END.size :])
    if entries > _MOST_ENTRIES:
        raise TakeFileError(where, f"{entries:,} files in it", f"at most {_MOST_ENTRIES} (takes of one set)")
    if comment or size > 200 * _MOST_ENTRIES:
        raise TakeFileError(where, "a damaged zip: its directory is too large", "a hand-in as it was written")


def _entries(archive: zipfile.ZipFile, where: str) -> dict[str, zipfile.ZipInfo]:
    """The zip's entries by name, each looked at; anything that a hand-in never has is an error."""
    found: dict[str, zipfile.ZipInfo] = {}
    allowed = {MANIFEST, *(name for number in range(1, MOST_TAKES + 1) for name in names_of(number))}
    for info in archive.infolist():
        name = shown(info.orig_filename)
        kind = stat.S_IFMT(info.external_attr >> 16)
        if info.flag_bits & 0x1:
            raise TakeFileError(where, f"'{name}' is encrypted", "a hand-in without a password")
        if kind not in (0, stat.S_IFREG):
            raise TakeFileError(where, f"'{name}' is {_KINDS.get(kind, 'no plain file')}", "plain files only")
        if _leads_out(info.orig_filename):
            raise TakeFileError(where, f"'{name}' points outside the hand-in", f"{MANIFEST} and takes/ only")
        if info.orig_filename not in allowed:
            raise TakeFileError(where, f"'{name}' does not belong in it", f"{MANIFEST} and takes/ only")
        if info.orig_filename in found:
            raise TakeFileError(where, f"'{name}' is in it twice", "each file once")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise TakeFileError(where, f"'{name}' is packed in a way of its own", "a plain zip (deflate)")
        found[info.orig_filename] = info
    _refuse_overlaps(list(found.values()), where)
    if MANIFEST not in found:
        raise TakeFileError(where, f"no {MANIFEST} in it", "a hand-in", "heeltap handin writes one")
    return found


_KINDS = {stat.S_IFLNK: "a link", stat.S_IFDIR: "a folder"}


def _leads_out(name: str) -> bool:
    """Whether a name is absolute or climbs, on any system."""
    parts = name.replace("\\", "/").split("/")
    return name.startswith(("/", "\\")) or ".." in parts or ":" in parts[0] or "\x00" in name


def _refuse_overlaps(entries: list[zipfile.ZipInfo], where: str) -> None:
    """Raise `TakeFileError` where two entries have bytes in common: some Pythons only warn of it, some do not look."""
    ordered = sorted(entries, key=lambda info: info.header_offset)
    for info, after in pairwise(ordered):
        if info.header_offset + _ENTRY_HEAD + len(info.orig_filename) + info.compress_size > after.header_offset:
            name = shown(after.orig_filename)
            raise TakeFileError(
                where, f"a damaged zip: '{name}' lies over another entry", "a hand-in as it was written"
            )


def _contents(archive: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo], where: str) -> HandIn:
    """Manifest and takes, read against one budget."""
    room = _Room(archive, where)
    manifest = manifest_from(room.read(entries[MANIFEST]), where)
    expected = {MANIFEST, *(name for number in range(1, len(manifest.takes) + 1) for name in names_of(number))}
    if (more := sorted(set(entries) - expected)) or (lost := sorted(expected - set(entries))):
        found = f"{more[0]} is not in its manifest" if more else f"{lost[0]} is missing"
        raise TakeFileError(where, found, f"the {len(manifest.takes)} takes that its manifest names")
    takes, problems = [], []
    for number, entry in enumerate(manifest.takes, 1):
        names = names_of(number)
        journal, context = (room.read(entries[name]) for name in names)
        told = f"{where}, take {number} ('{shown(entry.folder)}')"
        stated = (entry.journal_sha256, entry.context_sha256)
        wrong = [
            name
            for name, data, sha in zip(names, (journal, context), stated, strict=True)
            if hashlib.sha256(data).hexdigest() != sha
        ]
        if wrong:
            problems.append(f"{told}: {wrong[0]} is not what was handed in (its SHA-256 differs); left out")
            continue
        takes.append(RawTake(entry, told, journal, context))
    return HandIn(where, manifest, shown(manifest.name) or "(no name)", tuple(takes), tuple(problems))


class _Room:
    """Reads entries while there is room for what comes out of them."""

    def __init__(self, archive: zipfile.ZipFile, where: str) -> None:
        self._archive, self._where, self._left = archive, where, MOST_BYTES

    def read(self, info: zipfile.ZipInfo) -> bytes:
        """One entry, counted as it is unpacked; raises `TakeFileError` where it grows beyond its limits."""
        name, parts, size = shown(info.orig_filename), [], 0
        packed = max(info.compress_size, 1)
        with self._archive.open(info) as stream:
            while chunk := stream.read(_CHUNK):
                size += len(chunk)
                if size > min(MOST_TAKE_BYTES, self._left):
                    most = f"at most {MOST_TAKE_BYTES >> 20} MB each and {MOST_BYTES >> 20} MB in all"
                    raise TakeFileError(self._where, f"'{name}' unpacks to more than that", most)
                if size > _RATIO_FROM and size > MOST_RATIO * packed:
                    found = f"'{name}' unpacks to more than {MOST_RATIO} times its size"
                    raise TakeFileError(self._where, found, "a take, which packs to a tenth")
                parts.append(chunk)
        self._left -= size
        return b"".join(parts)


def shown(text: str) -> str:
    """A text from outside as one line that can be shown: no control, direction or other invisible characters."""
    plain = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp", "Zs") else c for c in text[:400])
    kept = "".join(c for c in plain if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn"))
    short = " ".join(kept.split())
    return short if len(short) <= 60 else short[:59] + "…"
