"""Loggers: from samples to heads by the correction history on record, and what looks wrong in their series.

Parameters
----------
loggers : gwnet.analysis.loggers.channels.LoggerRecord
    What is on record.
record : gwnet.store.snapshot.Snapshot
    The record, of one site or of all.
instrument : str
    Code of the instrument.
heads : gwnet.analysis.loggers.heads.LoggerHeads
    Heads over the whole deployment.
when : numpy.ndarray of datetime64[us], shape (n,)
    True times, rising.
moment : numpy.datetime64
    UTC instant.
wells : sequence of str, optional
    Only these wells; all unless given.
"""
