"""The record and the computations together: reduced levels, same-day sets, maps."""
