"""Review and record-keeping: what waits for a decision, what was decided, what changed and what that moved.

Parameters
----------
record : gwnet.store.snapshot.Snapshot
    The record.
connection : sqlalchemy.Connection
    Connection of a writing unit of work.
selection : gwnet.records.Selection
    Which levels.
by : str
    Who reviews or decides.
reason : str or None
    Why; only an approval may do without.
"""
