"""What a person can do with heeltap, without a face: score files, compare takes, make exercises, drill."""
