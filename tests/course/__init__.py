"""Tests of `heeltap.course`."""
