"""Calibrating: from a reference on the air to where the instrument indicates it."""
