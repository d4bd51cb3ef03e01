"""Thresholds: as water elevations, and their states over a period from manual readings and loggers.

Parameters
----------
thresholds : pandas.DataFrame
    Thresholds with their elevations, as `gwnet.analysis.thresholds.elevations.with_elevations`.
levels : pandas.DataFrame
    Reduced levels, as `gwnet.analysis.levels.table.levels`; those of loggers are passed over.
days : pandas.DataFrame
    Daily levels of loggers, as `gwnet.analysis.thresholds.logger_days.days_of_loggers`.
first, last : datetime.date
    First and last local day of the period, both included.
"""
