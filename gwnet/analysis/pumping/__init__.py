"""Pumping tests: readings to levels, levels to drawdowns, what looks wrong, and the analyses of one test.

Parameters
----------
record : gwnet.store.snapshot.Snapshot
    The record, of one site where a test is named.
test : gwnet.analysis.pumping.gather.GatheredTest
    A test with its rates and levels.
"""
