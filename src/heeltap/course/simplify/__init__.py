"""Simpler parts made from a real one."""
