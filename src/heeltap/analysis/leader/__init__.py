"""The time that the drums give."""
