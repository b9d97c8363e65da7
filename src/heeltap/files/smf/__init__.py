"""Standard MIDI Files: what people have, read exactly; what we make, written exactly.

Public: `read_midi` and `parse_midi` give a `Midi`; `write_midi` and `midi_bytes` take `TrackOut`; `choose_part` finds a
part by number, track, channel or name.
"""

from heeltap.files.smf.reader import MOST_BYTES, UNRELEASED, parse_midi, read_midi
from heeltap.files.smf.types import Marker, Midi, Pedal
from heeltap.files.smf.write import TrackOut, midi_bytes, write_midi
from heeltap.model.parts import Part, choose_part

__all__ = [
    "MOST_BYTES",
    "UNRELEASED",
    "Marker",
    "Midi",
    "Part",
    "Pedal",
    "TrackOut",
    "choose_part",
    "midi_bytes",
    "parse_midi",
    "read_midi",
    "write_midi",
]
