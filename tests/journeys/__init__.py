"""Days in a plant, walked from outside: own processes, real HTTP, a real browser."""
