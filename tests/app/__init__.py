"""Tests of `heeltap.app`."""
