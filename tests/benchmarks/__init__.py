"""Measurements of the running program: scripts, not collected as tests."""
