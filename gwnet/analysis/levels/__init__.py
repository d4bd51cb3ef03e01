"""From readings on record to levels: what the reduction needs, the reduction, its explanation, which levels count.

Parameters
----------
record : gwnet.store.snapshot.Snapshot
    The record.
selection : gwnet.records.Selection, optional
    Which level events; all unless given.
inputs : gwnet.analysis.levels.inputs.LevelInputs
    Level events with what their reduction looks up.
reduced : gwnet.analysis.levels.reduce.Reduction
    Their reduction.
levels : pandas.DataFrame
    Reduced levels, as `gwnet.analysis.levels.table.levels`, rows of loggers among them or not.
approved : bool
    Whether only levels that a review approved serve; provisional ones do as well unless given.
used : pandas.DataFrame
    Levels that take part in statistics, as `gwnet.analysis.levels.serving.used_levels`.
crs : str
    Coordinate system of the site, for example ``EPSG:25832``.
"""
