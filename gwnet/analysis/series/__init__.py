"""The levels of a well over the years: values by period, trends, steps, threshold dates, seasons, decomposition.

Parameters
----------
levels : pandas.DataFrame
    Reduced levels, as `gwnet.analysis.levels.table.levels`, daily means of loggers among them or not.
used : pandas.DataFrame
    Levels that take part, as `gwnet.analysis.levels.serving.used_levels`.
wells : pandas.DataFrame
    Columns site and well: which wells; where the result has a row for each well, in this order.
method : {"seasonal", "kendall"}
    Seasons of the years compared each with its own kind, or one value a year.
seasons : {4, 12}
    Seasons of a year, from January on: quarters or months.
approved : bool
    Whether only levels that a review approved take part; provisional ones do as well unless given.
memory : mapping of (site, well) to gwnet.analysis.series.trend_records.SharedMemory, optional
    What other wells say of the serial correlation of each, as of `gwnet.analysis.series.trend_memory.shared_memory`;
    each well is judged alone where it is not in it.
least_years : int
    Fewest years with a value of a calendar month (of a day) for which it has percentiles; 10 unless given (common
    practice, no source).
definition : {"weibull", "linear"}
    Definition of percentiles, see `gwnet.hydro.seasons.percentiles.percentiles`.
value : {"median", "middle"}
    How the days of a period give one value, see `gwnet.analysis.levels.period_values.period_values`.
"""
