"""Recordings on disk: SigMF, IQ in WAV and raw interleaved samples, read piece by piece."""
