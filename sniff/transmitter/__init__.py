"""Transmitter: is its carrier on frequency and in tolerance; what it carries, how wide it is."""
