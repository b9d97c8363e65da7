"""How a result reads: text, page, JSON and picture."""
