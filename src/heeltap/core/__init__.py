"""The measuring: pure functions over arrays. No input or output, no clock, no thread."""
