"""Sweep: a span wider than one tuning, hop by hop, on one exact frequency grid."""
