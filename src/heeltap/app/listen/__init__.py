"""Hear a take or a plan."""
