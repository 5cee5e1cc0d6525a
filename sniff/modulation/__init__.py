"""Modulation: one channel cut out of the IQ, and what its carrier does: frequency, audio, width."""
