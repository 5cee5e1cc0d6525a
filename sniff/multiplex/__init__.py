"""Multiplexes of many carriers as frequency references: their symbols repeat, and that tells."""
