"""Tests of `heeltap.gear`."""
