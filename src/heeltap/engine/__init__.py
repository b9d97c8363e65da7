"""What must be on time: the process that sends clicks, times your strokes and records them."""
