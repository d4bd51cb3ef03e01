"""Checks of single readings and wells: limits from the record itself, neighbours, steps, visits."""
