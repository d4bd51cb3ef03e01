"""The tables that can be loaded: headings to columns, cells to values, rows to the record, refusals with their place.

The tables and their columns are declared in `gwnet.store.contract`. Parameters that recur in this package:

Parameters
----------
connection : sqlalchemy.Connection
    Connection of the loading transaction.
parsed : gwnet.ingest.tables.parse.Parsed
    Parsed table; problems that are met are added to it.
codes : gwnet.ingest.tables.lookup.Codes
    Codes on record; new identities are added to it.
instruction : gwnet.ingest.tables.instruction.Instruction
    What to do with the rows.
source_file_id : int or None
    File that the rows come from.
table : gwnet.store.columns.Table
    Table that can be loaded.
column : gwnet.store.columns.Column
    One of its columns.
columns : dict of str to sequence
    Columns of the recorded table, one value a row, from `gwnet.ingest.tables.convert`.
events : gwnet.ingest.tables.parsed_events.Events
    Level events as they are to be stored.
row : int
    Position of a row.
sites : numpy.ndarray of int64
    Site of each row; -1 for none.
name : str
    Name of a column.
units : list of str
    Unit of each row where the heading names none.
differences : list of tuple
    Name, value on record and new value of what a row changes.
"""
