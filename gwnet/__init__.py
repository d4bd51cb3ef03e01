"""Groundwater monitoring-network record."""
