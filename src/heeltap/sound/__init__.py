"""Click and drum sounds."""
