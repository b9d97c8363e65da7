"""Disk borders: MIDI files, sets, take folders, the history index, hand-ins."""
