"""Tests of `heeltap.classroom`."""
