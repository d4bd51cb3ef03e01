"""Checks of levels: each takes the events of a site with its limits and gives findings.

Parameters
----------
events : gwnet.analysis.checks.events.Events
    Level events of one site.
"""
