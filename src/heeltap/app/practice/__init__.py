"""Exercises, sets, hand-ins and classes."""
