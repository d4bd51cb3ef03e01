"""Open exchange formats."""
