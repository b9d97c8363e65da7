"""Exercises, sets and drum patterns written as TOML."""
