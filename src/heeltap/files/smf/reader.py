"""Read a MIDI file byte by byte: accept everything that can be timed, however odd, and say what was odd.

The reader refuses in one line what it cannot time. It builds one tempo and metre map over all tracks before it times
any note.

Inside: `read_midi`, `parse_midi`, `MOST_BYTES`.
"""

import os
import stat
from collections.abc import Sequence

import numpy as np

from heeltap.errors import MidiFileError
from heeltap.files.smf.chunks import Header, read_header, read_tracks, unwrap
from heeltap.files.smf.events import Meta, RawTrack
from heeltap.files.smf.maps import Rate, metre_map, read_rate, tempo_map
from heeltap.files.smf.notes import NoteColumns, note_columns, unpack
from heeltap.files.smf.notices import Notices
from heeltap.files.smf.text import decode_text, plain
from heeltap.files.smf.types import Marker, Midi, Pedal
from heeltap.model.arrays import IntArray
from heeltap.model.parts import Part, guess_drums
from heeltap.model.timeline import TempoMap

__all__ = ["MOST_BYTES", "UNRELEASED", "parse_midi", "read_midi"]

UNRELEASED = "notes that are never released"
"""How the warning of them begins: a reader who knows that nothing could release them leaves it out."""

MOST_BYTES = 16 << 20
"""Larger files are refused: two hours at twenty notes a second have 1.2 MB, and reading must never seem to hang.
Ours."""

_LONG_GAP_US = 3_600_000_000
"""An hour without a note, or after the last one, is worth a warning. Ours."""

_BLANK = 8
"""So many messages of zeros (24 bytes) are a hole in the file and no music. Ours."""


def read_midi(path: str | os.PathLike[str], pattern: int | None = None) -> Midi:
    """Everything in a MIDI file that timing needs.

    Parameters
    ----------
    path : str or path
        A regular file: format 0, 1 or 2, also inside RIFF/RMID, whatever its suffix.
    pattern : int, optional
        Which of the independent patterns of a format 2 file, from 1. Not needed when only one has notes.

    Returns
    -------
    Midi
        With no notes in it when there are none: that is for the caller to judge.

    Raises
    ------
    MidiFileError
        When it is no MIDI file, cannot be timed, or has several patterns and none was chosen.
    """
    where = plain(os.fsencode(path).decode("utf-8", "replace"))
    return parse_midi(_read_bytes(path, where), where, pattern)


def parse_midi(data: bytes, where: str = "MIDI data", pattern: int | None = None) -> Midi:
    """The same as `read_midi` for bytes in memory; ``where`` names them in messages."""
    notices = Notices()
    data, start = unwrap(data, where, notices)
    header = read_header(data, start, where, notices)
    rate = read_rate(header.division, where, start + 12)
    tracks = read_tracks(data, header, notices)
    if header.format == 0 and len(tracks) > 1:
        notices.add(f"format 0 with {len(tracks)} tracks", "read as format 1")
    if header.format == 2:
        tracks = _pattern(tracks, pattern, where, notices)
    _refuse_ruins(tracks, header, where)
    return _assemble(header, rate, tracks, where, notices)


def _read_bytes(path: str | os.PathLike[str], where: str) -> bytes:
    """The file's bytes; raises `MidiFileError` for anything but a readable regular file of a sane size."""
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise MidiFileError(where, "this is a folder", "a MIDI file")
        if not stat.S_ISREG(status.st_mode):
            raise MidiFileError(where, "this is no regular file", "a MIDI file")
        if status.st_size > MOST_BYTES:
            raise MidiFileError(where, f"{status.st_size} bytes", f"a MIDI file of at most {MOST_BYTES} bytes")
        with open(path, "rb") as file:
            return file.read(MOST_BYTES)
    except (OSError, ValueError) as error:
        if isinstance(error, MidiFileError):
            raise
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise MidiFileError(where, f"cannot be read: {reason}") from error


def _pattern(tracks: list[RawTrack], pattern: int | None, where: str, notices: Notices) -> list[RawTrack]:
    """The tracks with all but one pattern emptied, so that track numbers stay those of the file."""
    counts = np.bincount(note_columns(tracks).track, minlength=len(tracks)).tolist()
    full = [index for index, count in enumerate(counts) if count]
    listed = ", ".join(f"pattern {index + 1}: {counts[index]} notes" for index in full[:30])
    if pattern is None and len(full) > 1:
        found = f"format 2 file holds {len(full)} independent patterns ({listed})"
        raise MidiFileError(where, found, "one of them to be chosen", "--pattern N")
    chosen = full[0] + 1 if pattern is None and full else pattern or 1
    if not 1 <= chosen <= len(tracks):
        raise MidiFileError(where, f"no pattern {pattern}", f"1 to {len(tracks)} ({listed})")
    notices.add(f"format 2 holds {len(tracks)} independent patterns", f"read pattern {chosen} by itself")
    return [track if index == chosen - 1 else RawTrack() for index, track in enumerate(tracks)]


def _refuse_ruins(tracks: Sequence[RawTrack], header: Header, where: str) -> None:
    """Raise `MidiFileError` when damage left no note at all: that is not the same as a file without notes."""
    for index, track in enumerate(tracks):
        if track.damaged and not any(other.notes for other in tracks):
            raise MidiFileError(f"{where}, track {index}", track.damaged, hint="no note could be read before it")
    if header.tracks and not tracks:
        place = f"{where}, byte {header.next_byte}"
        raise MidiFileError(place, f"a header that declares {header.tracks} tracks and none there", "'MTrk'")


def _metas(tracks: Sequence[RawTrack], *kinds: int) -> list[tuple[int, Meta]]:
    """(track, meta) of these kinds in track and file order."""
    return [(index, meta) for index, track in enumerate(tracks) for meta in track.metas if meta.kind in kinds]


def _assemble(header: Header, rate: Rate, tracks: list[RawTrack], where: str, notices: Notices) -> Midi:
    """Maps first, then times, then parts."""
    tempi = _metas(tracks, 0x51)
    tempo = tempo_map(rate, tempi, notices)
    metre = metre_map(rate, _metas(tracks, 0x58), notices)
    columns = note_columns(tracks)
    onset_us = tempo.us_at(columns.tick)
    duration_us = np.where(columns.release_tick < 0, -1, tempo.us_at(columns.release_tick) - onset_us)
    _tell_about_notes(columns, onset_us, tempo.us_at(max((track.end_tick for track in tracks), default=0)), notices)
    parts, part = _parts(tracks, columns)
    return Midi(
        path=where,
        format=header.format,
        onset_us=onset_us,
        pitch=columns.pitch,
        velocity=columns.velocity,
        channel=columns.channel,
        track=columns.track,
        duration_us=duration_us,
        tick=columns.tick,
        part=part,
        tempo=tempo,
        metre=metre,
        parts=parts,
        markers=_markers(tracks, tempo),
        pedal=_pedal(tracks, tempo),
        warnings=notices.lines(),
        frames=rate.frames,
        has_tempo=bool(tempi) and not rate.frames,
    )


def _tell_about_notes(columns: NoteColumns, onset_us: IntArray, end_us: IntArray, notices: Notices) -> None:
    """Warn of notes that never end, of repeats on one tick, and of implausible silence."""
    hanging = int(np.sum(columns.release_tick < 0))
    if hanging:
        notices.add(f"{UNRELEASED}: {hanging} of {onset_us.size}", "their onsets count")
    if columns.blank >= _BLANK:
        what = f"zero bytes where {columns.blank} note messages should be: a piece of the file is probably missing"
        notices.add(what, "times after it may be too early")
    if columns.repeats:
        notices.add(f"notes that repeat one on the same tick: {columns.repeats}", "all are kept")
    gaps = np.diff(onset_us, prepend=0, append=np.maximum(end_us, onset_us[-1])) if onset_us.size else onset_us
    for row in np.flatnonzero(gaps > _LONG_GAP_US)[:3].tolist():
        place = "after the last note" if row == onset_us.size else f"before the note on tick {columns.tick[row]}"
        notices.add(f"a gap of {gaps[row] / 3.6e9:.1f} hours {place}", "kept as written")


def _parts(tracks: Sequence[RawTrack], columns: NoteColumns) -> tuple[tuple[Part, ...], IntArray]:
    """The parts, and each note's index into them."""
    key = (columns.track << 8 | columns.port) << 4 | columns.channel
    keys, part, counts = np.unique(key, return_inverse=True, return_counts=True)
    shared = {channel: number for track in reversed(tracks) for channel, number in track.programs.items()}
    order = np.argsort(part, kind="stable")
    stops = np.cumsum(counts)
    parts = []
    for row, packed in enumerate(keys.tolist()):
        rows = order[stops[row] - counts[row] : stops[row]]
        track, port, channel = packed >> 12, packed >> 4 & 0xFF, packed & 0xF
        name = _part_name(tracks[track], channel)
        program = tracks[track].programs.get(channel, shared.get(channel))
        drums = guess_drums(channel, name, columns.pitch[rows], columns.tick[rows])
        parts.append(Part(row + 1, name, track, channel, program, int(counts[row]), drums, port))
    return tuple(parts), part.astype(np.int64).reshape(-1)


def _part_name(track: RawTrack, channel: int) -> str:
    """The name given to the channel, else the track's, else its instrument's."""
    if channel in track.prefix_names:
        return decode_text(track.prefix_names[channel])
    for kind in (0x03, 0x04):
        for meta in track.metas:
            if meta.kind == kind and (name := decode_text(meta.payload)):
                return name
    return ""


def _markers(tracks: Sequence[RawTrack], tempo: TempoMap) -> tuple[Marker, ...]:
    """Markers and cue points of all tracks; ties by track, then file order."""
    found = sorted(_metas(tracks, 0x06, 0x07), key=lambda item: item[1].tick)
    at_us = tempo.us_at(np.array([meta.tick for _, meta in found], np.int64)).tolist()
    kinds = {0x06: "marker", 0x07: "cue"}
    return tuple(
        Marker(us, meta.tick, decode_text(meta.payload), kinds[meta.kind], track)
        for us, (track, meta) in zip(at_us, found, strict=True)
    )


def _pedal(tracks: Sequence[RawTrack], tempo: TempoMap) -> Pedal:
    tick, status, _, value, track = unpack([track.pedal for track in tracks])
    order = np.argsort(tick, kind="stable")
    return Pedal(tempo.us_at(tick[order]), (status & 0x0F)[order], value[order], track[order])
