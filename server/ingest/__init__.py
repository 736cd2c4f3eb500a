"""Anything to shots: bodies of requests (`wire`) and tables on disk (`tables`). No store, no clock."""
