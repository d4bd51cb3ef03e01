"""The chart of coverage: who has data when."""
