"""Loggers: from samples to heads by the correction history on record, and what looks wrong in their series."""
