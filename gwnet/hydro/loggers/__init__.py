"""Series of sensors: air pressure, clocks, drift, faults, intervals that are no levels.

Parameters
----------
time_utc : array_like of datetime64, shape (n,)
    Times of the samples, rising.
values : array_like, shape (n,)
    Samples; NaN counts as no sample.

Arrays that do not fit together raise `ShapeError`, times that do not rise `ReductionError`.
"""
