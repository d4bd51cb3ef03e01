"""Gauging rounds before they are made: what is due, in which order, and what the field sheet says."""
