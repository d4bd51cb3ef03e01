"""Loggers: from samples to heads by the correction history on record, and what looks wrong in their series.

Parameters
----------
loggers : gwnet.analysis.loggers.channels.LoggerRecord
    What is on record.
record : gwnet.store.snapshot.Snapshot
    The record, of one site or of all.
instrument : str
    Code of the instrument.
wells : sequence of str, optional
    Only these wells; all unless given.
"""
