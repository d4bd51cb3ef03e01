"""Import of other people's tables by a mapping: what is read, where each cell goes, and how words and units are read.

A mapping is a TOML file. Looking at files proposes one; applying it gives the tables of the contract, which are loaded
by the same rules as any other file. Parameters that recur in this package:

Parameters
----------
grid : gwnet.ingest.mapping.grids.Grid
    Rows of text of a file, sheet, layer or query.
mapping : gwnet.ingest.mapping.mapping.Mapping
    The mapping.
table : gwnet.ingest.mapping.source_table.SourceTable
    A table of a file, its headings found.
plan : gwnet.ingest.mapping.mapping.Plan
    How the rows of one table of ours are made.
rule : gwnet.ingest.mapping.mapping.Rule
    How the cells of one column are made.
notes : gwnet.ingest.loggers.guess_notes.Notes
    Takes reasons and doubts.
"""
