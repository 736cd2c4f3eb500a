"""The store against real databases."""
