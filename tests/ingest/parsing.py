"""Tables of text as the loader sees them, without a database."""

import datetime as dt

from gwnet.ingest.readers.delimited import read_delimited
from gwnet.ingest.tables.parse import parse
from gwnet.ingest.tables.raw import recognise

TODAY = dt.date(2026, 4, 6)


def parsed_table(name, text):
    """Return the parsed table of a file's text."""
    return parse(recognise(read_delimited(f"{name}.csv", text.encode())), TODAY)


def problems(parsed):
    """Return row, column and code phrase of each problem."""
    return [(problem.row, problem.column, problem.problem) for problem in parsed.rejections]
