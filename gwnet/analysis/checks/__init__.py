"""Checks of levels: each takes the events of a site with its limits and gives findings."""
