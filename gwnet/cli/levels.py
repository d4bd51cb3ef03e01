"""``gwnet levels``."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import options, output


@click.command("levels")
@options.wells
@click.option("--aquifer", metavar="AQUIFER", help="Only wells of this aquifer.")
@click.option("--round", "round", metavar="ROUND", help="Only this gauging round.")
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], known_on: dt.datetime | None, unit: str, form: str, db: str, **chosen: Any) -> None:
    """Print reduced levels, one row an event.

    Depths are positive downward, elevations positive upward; uncertainty is the 95 % half-width; bound is <= for a
    dry well.
    """
    from gwnet.analysis.levels import PRINTED_COLUMNS
    from gwnet.network import in_unit

    with options.opened(db) as net:
        table = net.levels(wells or None, known_on=known_on, **chosen)
    output.rows(in_unit(table[list(PRINTED_COLUMNS)], unit), form, empty="No level is on record that matches.")
