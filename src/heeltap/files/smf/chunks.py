"""The outside of a MIDI file: its container, its header, and where its tracks lie.

Conventions: offsets are bytes from the start of the file, also inside a container. A declared length is a hint, never a
size to allocate. End-of-track ends a track; where the declared length disagrees with it, the bytes decide.

Inside: `Header`, `unwrap` (find the MIDI file inside the bytes), `read_header`, `read_tracks`.
"""

import re
from array import array
from bisect import bisect_left
from dataclasses import dataclass

from heeltap.errors import MidiFileError
from heeltap.files.smf.events import MOST_RARE, RawTrack, TrackReader
from heeltap.files.smf.notices import Notices

__all__ = ["MOST_TRACKS", "Header", "chunk_at", "read_header", "read_tracks", "unwrap"]

MOST_TRACKS = 65_535
"""The header's count has 16 bits; a file with more track chunks than that is not music."""

_LEADING = 4096
"""How far into a file its header may start: a transfer header of 128 bytes, a byte order mark, a mail header. Ours."""

_OTHERS = (
    (b"\x00\x05\x16\x07", "an AppleDouble resource file, not a MIDI file"),
    (b"\x00\x05\x16\x00", "an AppleSingle resource file, not a MIDI file"),
    (b"SMF2CLIP", "a MIDI 2.0 clip file, not a Standard MIDI File"),
    (b"XMF_", "an XMF container, not a MIDI file"),
    (b"\x1f\x8b", "a gzip archive, not a MIDI file"),
    (b"PK\x03\x04", "a zip archive, not a MIDI file"),
    (b"BZh", "a bzip2 archive, not a MIDI file"),
    (b"7z\xbc\xaf", "a 7z archive, not a MIDI file"),
    (b"\xfd7zXZ", "an xz archive, not a MIDI file"),
    (b"OggS", "an Ogg audio file, not a MIDI file"),
    (b"fLaC", "a FLAC audio file, not a MIDI file"),
    (b"ID3", "an MP3 audio file, not a MIDI file"),
    (b"FORM", "an IFF or AIFF file, not a MIDI file"),
    (b"\x89PNG", "a PNG picture, not a MIDI file"),
    (b"%PDF", "a PDF document, not a MIDI file"),
    (b"<?xml", "an XML document, not a MIDI file"),
    (b"<", "a web page or XML document, not a MIDI file"),
    (b"{", "a JSON document, not a MIDI file"),
)
"""First bytes of files that get a MIDI file's name by mistake, and what to call them. Common practice."""


@dataclass(frozen=True, slots=True)
class Header:
    """The header chunk, as far as it is needed."""

    format: int
    """0 one track, 1 tracks that sound together, 2 independent patterns; anything else as written."""
    tracks: int
    """Number of tracks declared."""
    division: int
    """The 16 bits as written: ticks per quarter, or a frame rate and ticks per frame."""
    next_byte: int
    """Where the first chunk after the header starts."""


def unwrap(data: bytes, where: str, notices: Notices) -> tuple[bytes, int]:
    """The bytes up to the end of the MIDI file, and where in them its header starts; raises `MidiFileError`."""
    if not data:
        raise MidiFileError(where, "the file is empty (0 bytes)", "a MIDI file")
    if data[:4] == b"MThd":
        return data, 0
    if data[:4] == b"RIFF":
        return _unwrap_riff(data, where, notices)
    start = data.find(b"MThd", 0, _LEADING)
    known = next((name for magic, name in _OTHERS if data.startswith(magic)), "")
    if start > 0 and not known:
        notices.add(f"{start} bytes before the header", "skipped", byte=0)
        return data, start
    if known:
        raise MidiFileError(f"{where}, byte 0", known, hint="unpack it first" if "archive" in known else "")
    if not any(data):
        raise MidiFileError(f"{where}, byte 0", f"nothing but {len(data)} zero bytes", "a MIDI file")
    track = data.find(b"MTrk", 0, _LEADING)
    if track >= 0:
        raise MidiFileError(
            f"{where}, byte {track}", "a track without a header", "'MThd' first", "without it nothing can be timed"
        )
    raise MidiFileError(
        f"{where}, byte 0", f"not a MIDI file (starts with {data[:4].hex(' ')})", "'MThd' (4d 54 68 64)"
    )


def _unwrap_riff(data: bytes, where: str, notices: Notices) -> tuple[bytes, int]:
    """Walk the little-endian chunks of a RIFF file, each padded to an even length, to the MIDI data."""
    form = data[8:12]
    if form != b"RMID":
        kind = {b"WAVE": "a RIFF/WAVE audio file", b"AVI ": "a RIFF/AVI video file"}.get(form, "another RIFF file")
        raise MidiFileError(f"{where}, byte 8", f"this is {kind}, not a MIDI file", "RIFF/RMID or 'MThd'")
    at = 12
    while at + 8 <= len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        start = at + 8
        if data[at : at + 4] == b"data" and data[start : start + 4] == b"MThd":
            if length > len(data) - start:
                notices.add("RIFF data chunk declares more bytes than the file has", "read to the end", byte=at + 4)
            return data[: start + length] if length >= 14 else data, start
        at = start + length + (length & 1)
    start = data.find(b"MThd")
    if start < 0:
        raise MidiFileError(f"{where}, byte 12", "RIFF/RMID without MIDI data inside", "a 'data' chunk with 'MThd'")
    notices.add("RIFF chunk lengths do not lead to the MIDI data", "found it by its header", byte=start)
    return data, start


def read_header(data: bytes, start: int, where: str, notices: Notices) -> Header:
    """The header chunk at ``start``; raises `MidiFileError` where it is cut short."""
    if len(data) < start + 14:
        raise MidiFileError(f"{where}, byte {len(data)}", "the file ends inside its header", "14 bytes of header")
    kind, tracks, division = (int.from_bytes(data[start + at : start + at + 2], "big") for at in (8, 10, 12))
    length = int.from_bytes(data[start + 4 : start + 8], "big")
    after = start + 8 + length
    if length != 6 and not (length > 6 and after < len(data) and chunk_at(data, after)):
        notices.add(f"the header declares a length of {length} bytes", "read as 6", byte=start + 4)
        after = start + 14
    if kind > 2:
        notices.add(f"unknown format {kind}", "read as format 1", byte=start + 8)
    return Header(kind, tracks, division, after)


def chunk_at(data: bytes, at: int) -> bool:
    """Whether a chunk could start here: the end of the file, a track, a header, or four letters and a length that
    fits."""
    kind = data[at : at + 4]
    if at == len(data) or kind in (b"MTrk", b"MThd"):
        return True
    length = int.from_bytes(data[at + 4 : at + 8], "big")
    return len(kind) == 4 and kind.isalnum() and kind.isascii() and at + 8 + length <= len(data)


def read_tracks(data: bytes, header: Header, notices: Notices) -> list[RawTrack]:
    """All tracks in file order, up to the end of the file or to a second header."""
    tracks: list[RawTrack] = []
    at, walk = header.next_byte, _Walk(data, notices)
    while at + 8 <= len(data):
        kind = data[at : at + 4]
        if kind == b"MThd" and tracks:
            done = f"only the first was read, {len(data) - at} bytes ignored"
            notices.add("a second MIDI file follows", done, byte=at)
            at = len(data)
        elif kind == b"MTrk":
            if len(tracks) == MOST_TRACKS:
                notices.add(f"more than {MOST_TRACKS} tracks", "the rest was ignored", byte=at)
                break
            track, at = walk.read(at, len(tracks))
            tracks.append(track)
        elif chunk_at(data, at):
            at += 8 + int.from_bytes(data[at + 4 : at + 8], "big")  # somebody's own chunk: the standard says skip
        else:
            found = data.find(b"MTrk", at)
            found = found if found >= 0 else len(data)
            notices.add(f"{found - at} bytes that are no chunk", "skipped", byte=at)
            at = found
    if 0 < len(data) - at < 8:
        notices.add(f"{len(data) - at} bytes after the last chunk", "ignored", byte=at)
    if header.tracks != len(tracks):
        notices.add(f"the header declares {header.tracks} tracks, the file has {len(tracks)}", "read what is there")
    return tracks


class _Walk:
    """Reads track after track; knows where track headers are, so that no wrong length leads over one."""

    def __init__(self, data: bytes, notices: Notices) -> None:
        self._data, self._notices = data, notices
        self._rare_left = MOST_RARE
        # Found once: searching again from every track would be quadratic. Four letters may also be notes under running
        # status, so the length after them must look like one (top byte 00 or FF).
        self._headers = array("q", (found.start() for found in re.finditer(rb"MTrk[\x00\xff]", data)))

    def _next_header(self, at: int) -> int:
        """The first track header at or after ``at``, or the end of the file."""
        row = bisect_left(self._headers, at)
        return self._headers[row] if row < len(self._headers) else len(self._data)

    def _limit(self, declared: int) -> int:
        """How far a track may be read: its declared end where that is a boundary, else up to the next track."""
        data = self._data
        if declared <= len(data) and (chunk_at(data, declared) or data[declared - 3 : declared] == b"\xff\x2f\x00"):
            return declared
        return self._next_header(declared)

    def read(self, at: int, index: int) -> tuple[RawTrack, int]:
        """The track whose header is at ``at``, and where the next chunk starts."""
        data, start = self._data, at + 8
        length = int.from_bytes(data[at + 4 : start], "big")
        declared = start + length
        reader = TrackReader(
            *(data, start, self._limit(declared), index, self._notices),
            boundaries=self._headers,
            rare_left=self._rare_left,
        )
        track = reader.read()
        self._rare_left -= track.rare
        stop = track.stop_byte
        if stop == declared:
            return track, declared
        boundary = declared <= len(data) and chunk_at(data, declared)
        if boundary and track.damaged:
            return track, declared
        if boundary and track.ended and stop < declared <= self._next_header(stop):
            done = f"{declared - stop} bytes skipped"
            self._notices.add("bytes after end-of-track", done, track=index, byte=stop)
            return track, declared
        if track.ended or not (track.damaged or stop == len(data)):
            done = "end-of-track decides" if track.ended else "read what is there"
            self._notices.add(f"declares {length} bytes, has {stop - start}", done, track=index, byte=at + 4)
        return track, stop
