"""Tests of words."""
