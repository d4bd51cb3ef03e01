"""Writing to the record: rows are added and retired, never altered or deleted.

Parameters that recur:

Parameters
----------
connection : sqlalchemy.Connection
    Connection of a writing unit of work.
by : str
    Who records.
reason : str or None
    Why.
"""
