"""Figures of pumping tests."""
