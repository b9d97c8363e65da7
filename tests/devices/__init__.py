"""Tests of `heeltap.devices`."""
