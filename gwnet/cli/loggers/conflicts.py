"""``gwnet logger conflicts``."""

from typing import Any

import click

from gwnet.cli import options, output

#: Columns on a terminal.
_COLUMNS = tuple("instrument quantity time_utc stored stored_unit given unit file row".split())


@click.command("conflicts")
@click.option("--instrument", metavar="ID", help="Only of this instrument.")
@options.known_on
@options.form
@options.db
def command(form: str, db: str, **chosen: Any) -> None:
    """List values that differ from those on record at the same instant.

    The value on record stays. Where the file is right, withdraw the other one: gwnet logger withdraw FILE.
    """
    with options.open_record(db) as net:
        table = net.loggers.conflicts(**chosen)
    output.rows(
        table.drop(columns="series_id"), form, empty="No file differs from what is on record.", columns=_COLUMNS
    )
