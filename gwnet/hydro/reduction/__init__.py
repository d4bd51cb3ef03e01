"""From readings to elevations: tape, measuring point, water, uncertainty, intervals in force.

Arrays that do not broadcast raise `ShapeError`.
"""
