"""``gwnet levels``."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import completion, options, output


@click.command("levels")
@options.wells
@options.aquifer
@click.option("--round", "round", metavar="ROUND", shell_complete=completion.rounds, help="Only this gauging round.")
@click.option(
    "--loggers",
    type=click.Choice(["none", "round", "daily"]),
    default="none",
    show_default=True,
    help="Add rows of loggers: heads at the moment of each round, or daily means; their method is logger.",
)
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(
    wells: tuple[str, ...], known_on: dt.datetime | str | None, unit: str, form: str, db: str, **chosen: Any
) -> None:
    """Print reduced levels, one row an event.

    Depths are positive downward, elevations positive upward; uncertainty is the 95 % half-width; bound is <= for a
    dry well. With --loggers a last column of the table has the method. CSV and JSON also have aquifer, whether a level
    is usable and why not, and the readings as they were recorded, so that the file loads again (gwnet help exchange).
    """
    from gwnet.analysis.levels.display_unit import in_unit
    from gwnet.analysis.levels.table import FILE_COLUMNS, PRINTED_COLUMNS

    # Files hold what was recorded beside what was worked out, so that they can be loaded again.
    is_file = form != "table"
    with options.open_record(db) as net:
        table = net.levels(wells or None, known_on=known_on, as_recorded=is_file, **chosen)
    printed = [*PRINTED_COLUMNS, *(["method"] if chosen["loggers"] != "none" else [])]
    columns = list(FILE_COLUMNS) if is_file else printed
    output.rows(in_unit(table[columns], unit), form, empty="No level is on record that matches.")
