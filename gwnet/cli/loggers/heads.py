"""``gwnet logger heads``."""

from typing import Any

import click

from gwnet.cli import options, output


@click.command("heads")
@options.wells
@click.option("--daily", is_flag=True, help="Mean, lowest and highest head of each local day.")
@click.option("--excluded", is_flag=True, help="List samples that have no head as well, with the reason.")
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], daily: bool, excluded: bool, form: str, db: str, **chosen: Any) -> None:
    """Print the heads of loggers, one row a sample or a day.

    Worked out from the raw samples and the correction history on record; 'gwnet explain WELL TIME' gives the steps of
    one. The uncertainty is the 95 % half-width.
    """
    if daily and excluded:
        message = "Days are made of the samples that are used; give --daily or --excluded."
        raise click.UsageError(message)
    with options.open_record(db) as net:
        if daily:
            table = net.loggers.daily(wells or None, **chosen)
        else:
            table = net.loggers.heads(wells or None, excluded=excluded, **chosen)
    output.rows(table, form, empty="No head of a logger is on record that matches.")
