"""Play an exercise or a song live."""
