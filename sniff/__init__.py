"""From IQ samples to a verdict on the lines a small radio set should emit."""

__version__ = "0.1.0"
