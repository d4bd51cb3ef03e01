"""Checks of single readings and wells: limits from the record itself, neighbours, steps, visits.

Parameters
----------
well : array_like of int, shape (n,)
    Well of each event; events sorted by well and time.
time_d : array_like, shape (n,)
    Time [d].
elevation_m : array_like, shape (n,)
    Water elevation, positive upward; NaN where there is none [m].

Arrays that differ in length raise `ShapeError`.
"""
