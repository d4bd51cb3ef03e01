"""Seasons: calendar months, percentiles, annual cycle, smooth lines and decomposition."""
