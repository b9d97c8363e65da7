"""A Result as text, JSON, page and picture."""
