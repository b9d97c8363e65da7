"""Take folders: raw events as they came, a plain MIDI file, and what is known about the take."""
