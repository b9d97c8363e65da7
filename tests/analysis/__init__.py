"""Tests of `heeltap.analysis`."""
