"""Open exchange formats.

Parameters
----------
extract : gwnet.exchange.extract.Extract
    What is exported.
path : pathlib.Path
    File to make, or an empty folder.
"""
