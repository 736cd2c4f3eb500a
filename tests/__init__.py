"""Tests, a mirror of server/."""
