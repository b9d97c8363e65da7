"""Tests of `heeltap.engine`."""
