"""Soak: watch a line for hours to weeks, and keep what it did where no power cut can reach it."""
