"""Queries: from the record to data frames and arrays."""
