"""Playing: the clock, the stamps, the pulse, the pure session, and the engine process that runs them."""
