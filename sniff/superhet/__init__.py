"""Superhet arithmetic: which lines a set should show, and what a set is by its lines."""
