"""Files and mappings for the tests of imports."""

import datetime as dt

from gwnet.ingest.mapping.apply import apply_mapping
from gwnet.ingest.mapping.grids import read_source
from gwnet.ingest.mapping.load import import_files
from gwnet.ingest.mapping.mapping import parse_mapping
from gwnet.ingest.mapping.propose import Known, propose_mapping

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)
KNOWN = Known("S", "Europe/Vienna", "EPSG:25832", "local", "m", NOW)

#: A mapping of level events with the rules to be filled in.
EVENTS = """
site = "S"
[source.t]
{source}
[[table]]
name = "level_events"
from = "t"
[table.columns]
well = "Well"
{columns}
"""


def write(folder, name, text, encoding="utf-8"):
    """Write a file and return its path as text."""
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return str(path)


def applied(folder, text, mapping, name="t.csv"):
    """Return what a mapping makes of a text."""
    return apply_mapping(parse_mapping(mapping, "test"), [read_source(write(folder, name, text))])


def columns(result, table="level_events"):
    """Return the cells of a table of ours by column."""
    [sheet] = [sheet for one in result.tables if one.plan.table == table for _, sheet in one.sheets]
    return {heading: [row[place] for row in sheet.rows] for place, heading in enumerate(sheet.headings)}


def events(folder, text, rules, source="", name="t.csv"):
    """Return the level events that rules make of a text, by column."""
    return columns(applied(folder, text, EVENTS.format(source=source, columns=rules), name))


def proposed(folder, known=KNOWN, **files):
    """Return the proposal for files given by their stem; commas of the text separate cells."""
    paths = [write(folder, f"{name}.csv", text) for name, text in files.items()]
    return propose_mapping([read_source(path) for path in paths], known)


def imported(net, folder, mapping, **files):
    """Import files given by their stem, and return the result."""
    paths = [write(folder, f"{name}.csv", text) for name, text in files.items()]
    return import_files(net.store, paths, parse_mapping(mapping, "test"), now_utc=NOW, by="Ana")
