"""What a person can do with heeltap, without a face."""
