"""A song: its drums, its part, and everything that was played to it."""
