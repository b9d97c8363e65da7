"""Read recorded files, score and compare them."""
