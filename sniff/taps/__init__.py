"""Tap test: which spot, touched how, makes the line drop out, and would a good set do the same."""
