"""Faces of a result: text, pictures, JSON."""
