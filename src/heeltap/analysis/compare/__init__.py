"""Takes against each other: which one to use, as a fact of the recordings, and whether the player improves."""
