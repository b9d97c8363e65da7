"""A drill as a pure step: state and event in, state and effects out."""
