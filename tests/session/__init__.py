"""Tests of `heeltap.session`."""
