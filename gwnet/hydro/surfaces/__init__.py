"""Surfaces of heads: kriging, spline, triangulation, contours, and the geometry of their control."""
