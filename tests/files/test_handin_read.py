"""Hand-ins from people who mean harm: each gets one clear line, and nothing leaves the memory."""

import hashlib
import io
import os
import stat
import struct
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import msgspec
import pytest

from heeltap.errors import TakeFileError
from heeltap.files import handin_read
from heeltap.files.handin import FORMAT, MANIFEST, Manifest, TakeEntry, handin_bytes, manifest_from, names_of
from heeltap.files.handin_read import read_handin

JOURNAL, CONTEXT = b'{"format":"heeltap.journal/1","zero_ns":0}\n', b'{"format":"heeltap.take/1"}\n'
SHA = {data: hashlib.sha256(data).hexdigest() for data in (JOURNAL, CONTEXT)}


def manifest(**changes: object) -> Manifest:
    """A good manifest of one take."""
    entry = TakeEntry("2026-03-02", 1, SHA[JOURNAL], SHA[CONTEXT])
    values = {"heeltap": "0", "name": "Tove", "set_title": "Week", "set_fingerprint": "0" * 64, "takes": [entry]}
    return Manifest(**{**values, **changes})


def good(**changes: object) -> bytes:
    """A hand-in of one take."""
    return handin_bytes(manifest(**changes), [(JOURNAL, CONTEXT)])


Row = tuple[zipfile.ZipInfo | str, bytes]


def packed(rows: Iterable[Row], *, deflated: bool = True) -> bytes:
    """A zip of these rows, whatever they are called."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED if deflated else zipfile.ZIP_STORED) as archive:
        for name, data in rows:
            archive.writestr(name, data)
    return buffer.getvalue()


def parts(*, named: bytes | None = None, journal: bytes = JOURNAL) -> list[Row]:
    """The rows of a good hand-in, some changed."""
    first, second = names_of(1)
    return [(MANIFEST, named or msgspec.json.encode(manifest())), (first, journal), (second, CONTEXT)]


def squeezed() -> bytes:
    """Packed by a method whose unpacker may want any amount of memory."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_LZMA) as archive:
        for name, data in parts():
            archive.writestr(name, data)
    return buffer.getvalue()


def link() -> bytes:
    """The journal is a symbolic link."""
    info = zipfile.ZipInfo(names_of(1)[0])
    info.create_system, info.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    rows = parts()
    return packed([rows[0], (info, b"/etc/passwd"), rows[2]])


def encrypted() -> bytes:
    """The first entry says that it is encrypted, in both places."""
    data = bytearray(good())
    for signature, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = data.index(signature)
        data[start + at] |= 1
    return bytes(data)


def lying(size: int) -> bytes:
    """The journal's directory entry declares another size than comes out."""
    data = bytearray(packed(parts(journal=b"x" * 300_000)))
    start = data.rindex(b"PK\x01\x02", 0, data.rindex(b"PK\x01\x02"))
    struct.pack_into("<L", data, start + 24, size)
    return bytes(data)


def overlapping() -> bytes:
    """Two entries are the same bytes of the file."""
    data = bytearray(good())
    first = data.index(b"PK\x01\x02")
    second = data.index(b"PK\x01\x02", first + 4)
    third = data.index(b"PK\x01\x02", second + 4)
    data[third + 42 : third + 46] = data[second + 42 : second + 46]
    return bytes(data)


def twice() -> bytes:
    """The manifest is there twice, the second time with another name."""
    with pytest.warns(UserWarning, match="Duplicate"):
        return packed([*parts(), (MANIFEST, msgspec.json.encode(manifest(name="Odo")))])


def renamed(name: str) -> Callable[[], bytes]:
    """One more file of that name."""
    return lambda: packed([*parts(), (name, b"x")])


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "path traversal": (renamed("../../.bashrc"), "points outside the hand-in"),
    "path traversal, other slashes": (renamed("takes\\..\\..\\evil"), "points outside the hand-in"),
    "absolute path": (renamed("/etc/cron.d/evil"), "points outside the hand-in"),
    "drive letter": (renamed("C:/evil.exe"), "points outside the hand-in"),
    "nested zip": (lambda: packed([*parts(), ("more.zip", good())]), "'more.zip' does not belong in it"),
    "bomb by ratio": (lambda: packed(parts(journal=bytes(4_000_000))), "unpacks to more than 60 times its size"),
    "bomb by size": (lambda: packed(parts(journal=os.urandom(9 << 20)), deflated=False), "at most 8 MB each"),
    "declares less than there is": (lambda: lying(10), "a damaged zip"),
    "declares more than there is": (lambda: lying(3_000_000_000), "unpacks to more than 60 times its size"),
    "overlapping entries": (overlapping, "a damaged zip"),
    "link inside": (link, "is a link"),
    "ten thousand files": (lambda: packed((f"takes/{n}", b"") for n in range(10_000)), "10,000 files in it"),
    "the same name twice": (twice, "is in it twice"),
    "another packing": (squeezed, "is packed in a way of its own"),
    "a second end in a comment": (lambda: good()[:-2] + b"\x16\x00" + good()[-22:], "a damaged zip"),
    "an endless directory": (lambda: good()[:-10] + b"\xff\xff\xff\x00" + good()[-6:], "its directory is too large"),
    "encrypted": (encrypted, "is encrypted"),
    "newer format": (lambda: packed(parts(named=b'{"format":"heeltap.handin/2"}')), "written by a newer heeltap"),
    "another format": (lambda: packed(parts(named=b'{"format":"something/1"}')), "expected 'heeltap.handin/1'"),
    "absurd count": (
        lambda: packed(parts(named=msgspec.json.encode(manifest()).replace(b'"item":1', b'"item":1e300'))),
        "manifest.json is not a hand-in's",
    ),
    "nested a million deep": (lambda: packed(parts(named=b"[" * 60_000)), "is not a hand-in's"),
    "not the takes of its manifest": (lambda: packed(parts()[:2]), "takes/001/context.json is missing"),
    "no manifest": (lambda: packed(parts()[1:]), "no manifest.json in it"),
    "truncated": (lambda: good()[:-30], "is cut short"),
    "something behind its end": (lambda: good() + b"#!/bin/sh", "is cut short, or something follows its end"),
    "no zip": (lambda: b"MThd\x00\x00\x00\x06", "is not a zip"),
    "empty": (lambda: b"", "is empty"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_file_gets_one_clear_line(case: str, tmp_path: Path) -> None:
    """The line begins with the file's name and says what is wrong; nothing is written next to it."""
    make, expected = HOSTILE[case]
    path = tmp_path / "in" / "odd.handin"
    path.parent.mkdir()
    path.write_bytes(make())

    with pytest.raises(TakeFileError) as caught:
        read_handin(path)

    assert str(caught.value).startswith("odd.handin: ")
    assert expected in str(caught.value)
    assert "\n" not in str(caught.value)
    assert [path] == [found for found in tmp_path.rglob("*") if found.is_file()]


def test_a_link_to_a_file_is_not_followed(tmp_path: Path) -> None:
    """A link in the folder could lead to anybody's file."""
    (tmp_path / "good").write_bytes(good())
    (tmp_path / "a.handin").symlink_to(tmp_path / "good")

    with pytest.raises(TakeFileError, match="is a link"):
        read_handin(tmp_path / "a.handin")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """A named pipe would never end."""
    os.mkfifo(tmp_path / "a.handin")

    with pytest.raises(TakeFileError, match="no regular file"):
        read_handin(tmp_path / "a.handin")


def test_a_file_that_is_too_large_is_not_read(tmp_path: Path) -> None:
    """No more than the limit is taken into memory."""
    with open(tmp_path / "a.handin", "wb") as file:
        file.truncate(40 << 20)

    with pytest.raises(TakeFileError, match="larger than 16 MB"):
        read_handin(tmp_path / "a.handin")


def test_all_entries_share_one_budget(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many files of a sane size are too much together."""
    (tmp_path / "a.handin").write_bytes(good())
    with zipfile.ZipFile(tmp_path / "a.handin") as archive:
        total = sum(info.file_size for info in archive.infolist())
    monkeypatch.setattr(handin_read, "MOST_BYTES", total)
    assert 1 == len(read_handin(tmp_path / "a.handin").takes)
    monkeypatch.setattr(handin_read, "MOST_BYTES", total - 1)

    with pytest.raises(TakeFileError, match="unpacks to more than that"):
        read_handin(tmp_path / "a.handin")


def test_a_take_whose_hash_differs_is_left_out_and_told(tmp_path: Path) -> None:
    """The file stands, the take does not."""
    (tmp_path / "a.handin").write_bytes(packed(parts(journal=JOURNAL + b"\n")))

    found = read_handin(tmp_path / "a.handin")

    assert () == found.takes
    expected = (
        "a.handin, take 1 ('2026-03-02'): takes/001/journal.jsonl is not what was handed in (its SHA-256 differs)"
    )
    assert (f"{expected}; left out",) == found.problems


def test_a_name_is_shown_as_one_line_without_tricks(tmp_path: Path) -> None:
    """Line ends, direction marks and escape codes are taken out, and what is too long is cut."""
    (tmp_path / "a.handin").write_bytes(good(name="Tove\n\x1b[31m\u202eVennel" + "x" * 100))

    name = read_handin(tmp_path / "a.handin").name

    assert name.startswith("Tove [31mVennelxxx")
    assert 60 == len(name)


def test_what_is_handed_in_comes_out_byte_for_byte(tmp_path: Path) -> None:
    """Journal and context are the raw bytes, and the same content makes the same file."""
    (tmp_path / "a.handin").write_bytes(good())

    found = read_handin(tmp_path / "a.handin")

    assert [(JOURNAL, CONTEXT)] == [(take.journal, take.context) for take in found.takes]
    assert () == found.problems
    assert good() == good()


def test_hashes_that_do_not_fit_are_never_written() -> None:
    """The writer checks its own manifest."""
    with pytest.raises(ValueError, match="hashes"):
        handin_bytes(manifest(), [(CONTEXT, JOURNAL)])


def test_unknown_fields_of_this_version_are_passed_over() -> None:
    """Fields may be added within version 1."""
    data = msgspec.json.encode(manifest()).replace(b'{"format"', b'{"later":1,"format"', 1)

    assert manifest() == manifest_from(data, "x")
    assert FORMAT == manifest_from(data, "x").format
