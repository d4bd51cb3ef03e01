"""Writing to the record: rows are added and retired, never altered or deleted.

Parameters that recur:

Parameters
----------
connection : sqlalchemy.Connection
    Connection of a writing unit of work.
at_utc, now_utc, now : datetime.datetime
    Aware time of the recording.
by : str
    Who records.
reason : str or None
    Why.
"""
