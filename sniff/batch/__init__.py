"""Batch: one question asked of many recordings, each answer kept as it comes."""
