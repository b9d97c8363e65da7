"""Find, name and measure the gear that a drill is played through."""
