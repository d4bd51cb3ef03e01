"""Queries of the record as data frames, in a fixed order, with the columns declared in `gwnet.store.fetch.frames`.

Depths are positive downward, elevations positive upward; instants are in UTC. Parameters that recur:

Parameters
----------
connection : sqlalchemy.Connection
    Connection to read from.
known_on : datetime.datetime, optional
    Record as known at this time (aware); the live record unless given.
site : str, optional
    Code of a site: only its rows; those of all sites unless given.
series_id : int
    The series.
start_ms, end_ms : int, optional
    Half-open span; milliseconds since 1970-01-01 UTC.
"""
