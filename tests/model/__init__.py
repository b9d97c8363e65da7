"""Tests of `heeltap.model`."""
