"""What a group of students handed in, and how far it can be believed."""
