"""``gwnet logger downloads``."""

from typing import Any

import click

from gwnet.cli import options, output

#: Columns on a terminal, and those that are numbers of rows of the record.
_COLUMNS = tuple("file instrument quantity rows added same conflicts missing first_utc last_utc layout zone".split())
_INTERNAL = ("download_id", "source_file_id", "series_id", "first_ms", "last_ms", "layout_text")


@click.command("downloads")
@click.option("--instrument", metavar="ID", help="Only of this instrument.")
@options.known_on
@options.form
@options.db
def command(form: str, db: str, **chosen: Any) -> None:
    """List the files that were loaded, one row a file and series.

    What each file gave: rows, samples added, on record already, repeated, in conflict or without a number, with the
    layout and zone that it was read with. Withdrawn ones are left out.
    """
    with options.open_record(db) as net:
        table = net.loggers.downloads(**chosen)
    output.rows(
        table.drop(columns=list(_INTERNAL)),
        form,
        empty="No file of a logger is on record that matches.",
        columns=_COLUMNS,
    )
