"""General MIDI percussion: the keys of channel 10 and what sounds on them.

Source: General MIDI System Level 1, percussion key map (35-81). 33 and 34 are General MIDI 2's metronome click and bell
(as found in several code tables, not read in the standard itself); a synthesizer that knows only the first may be
silent on them.

Inside: `PERCUSSION`, `CHANNEL`, `METRONOME`, `WOOD_BLOCK`, `SIDE_STICK`.
"""

__all__ = ["CHANNEL", "METRONOME", "PERCUSSION", "SIDE_STICK", "WOOD_BLOCK"]

CHANNEL = 9
"""Channel 10, as on the wire."""

METRONOME = (33, 34)
"""Click and bell of General MIDI 2: the plain beat, and the one."""

WOOD_BLOCK = (77, 76)
"""Low and high wood block: the fall-back that every General MIDI synthesizer has."""

SIDE_STICK = (37, 37)
"""Side stick: dry, and on most pads' sound modules."""

PERCUSSION = {
    27: "high Q",
    28: "slap",
    29: "scratch push",
    30: "scratch pull",
    31: "sticks",
    32: "square click",
    33: "metronome click",
    34: "metronome bell",
    35: "acoustic bass drum",
    36: "bass drum 1",
    37: "side stick",
    38: "acoustic snare",
    39: "hand clap",
    40: "electric snare",
    41: "low floor tom",
    42: "closed hi-hat",
    43: "high floor tom",
    44: "pedal hi-hat",
    45: "low tom",
    46: "open hi-hat",
    47: "low-mid tom",
    48: "hi-mid tom",
    49: "crash cymbal 1",
    50: "high tom",
    51: "ride cymbal 1",
    52: "chinese cymbal",
    53: "ride bell",
    54: "tambourine",
    55: "splash cymbal",
    56: "cowbell",
    57: "crash cymbal 2",
    58: "vibraslap",
    59: "ride cymbal 2",
    60: "hi bongo",
    61: "low bongo",
    62: "mute hi conga",
    63: "open hi conga",
    64: "low conga",
    65: "high timbale",
    66: "low timbale",
    67: "high agogo",
    68: "low agogo",
    69: "cabasa",
    70: "maracas",
    71: "short whistle",
    72: "long whistle",
    73: "short guiro",
    74: "long guiro",
    75: "claves",
    76: "hi wood block",
    77: "low wood block",
    78: "mute cuica",
    79: "open cuica",
    80: "mute triangle",
    81: "open triangle",
}
"""Key number to name."""
