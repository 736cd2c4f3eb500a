"""Sentences the shape of the code must keep."""
