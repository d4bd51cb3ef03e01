"""Levels of one aquifer on one day: the same-day set, surfaces, gradients, changes between days, data worth.

Parameters
----------
record : gwnet.store.snapshot.Snapshot
    The record of one site.
control : pandas.DataFrame
    Control frame.
aquifer : str
    Code of the aquifer.
coordinate_unit_m : float, optional
    Metres in one unit of the coordinates.
levels : gwnet.analysis.maps.result.Control
    Control of the map.
surface : gwnet.hydro.surfaces.surface.Surface
    The surface.
unit : str
    Unit of the text, ``m`` or ``ft``.
"""
