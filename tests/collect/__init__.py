"""Collectors, their spool and their sources."""
