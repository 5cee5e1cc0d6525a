"""Watching one line in time: when it was there, how it went, and what it did while it stayed."""
