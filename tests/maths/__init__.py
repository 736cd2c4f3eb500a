"""Tests of the statistics."""
