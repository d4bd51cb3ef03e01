"""The report set as one HTML page."""
