"""Tests of show."""
