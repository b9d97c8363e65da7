"""Take folders: the raw events as they came, a plain MIDI file, and how you played it."""
