"""What is handed over: maps with their files, reports gathered from the record, the demo.

Parameters
----------
record : gwnet.store.snapshot.Snapshot
    The record of one site.
out : pathlib.Path or str
    Folder; made when it does not exist.
definition : gwnet.reporting.definition.parse.Definition
    What the report holds.

A folder that cannot be made or written raises `OutputError`.
"""
