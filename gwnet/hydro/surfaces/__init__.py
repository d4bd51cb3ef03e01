"""Surfaces of heads: kriging, spline, triangulation, trend surface, contours, and the geometry of their control.

Parameters
----------
xq, yq : array_like
    Coordinates, of shapes that broadcast [m].
inside_control : bool, optional
    Give NaN beyond the convex hull of the control.
z : array_like, shape (n,)
    Water elevation, positive upward [m].
hull : numpy.ndarray, shape (k, 2)
    Corners, anticlockwise [m].
x, y : array_like, shape (n,)
    Easting and northing of at least three wells that are not on one line [m].
names : sequence of str, optional
    Names of the wells for messages.
surface : gwnet.hydro.surfaces.kriging.KrigedSurface
    The surface.
drift : str, optional
    ``linear`` for universal kriging with a plane, ``none`` for ordinary kriging.
measurement_variance_m2 : array_like, optional
    Variance of each level as measured, one number or shape (n,); a well with 0 is met exactly [m²].

Fewer than three wells raise `TooFewLevelsError`, wells on one line or two at one place `AnalysisError`, arrays that do
not fit together `ShapeError`.
"""
