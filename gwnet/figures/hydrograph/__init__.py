"""Hydrographs: what they show as plain numbers, and their drawing."""
