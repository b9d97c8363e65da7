"""What is found out about a take: strokes, places, offsets, statistics, findings. Pure functions over arrays."""
