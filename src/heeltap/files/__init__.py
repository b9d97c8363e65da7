"""What lies on the disk: MIDI files, sets, take folders, settings, the history and hand-ins, read and written."""
