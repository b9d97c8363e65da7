"""What to do after one take, and which exercise helps against what."""
