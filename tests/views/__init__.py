"""Tests of `heeltap.views`."""
