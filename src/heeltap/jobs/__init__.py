"""What a person can do with heeltap, without a face: score a file, drill, compare."""
