"""``gwnet history``."""

import datetime as dt

import click

from gwnet.cli import options, output, reviewed


@click.command("history")
@click.argument("well")
@click.option("--each", is_flag=True, help="Show every row by itself, not the rows of one load as one.")
@options.site
@options.known_on
@options.form
@options.db
def command(well: str, site: str | None, known_on: dt.datetime | None, form: str, db: str, *, each: bool) -> None:
    """Show what changed at a well: when, by whom and why.

    In order of recording: site, well, construction, measuring points, instruments and tape checks used, thresholds,
    levels, findings, reviews and decisions. Times are UTC.
    """
    with options.open_record(db) as net:
        table = net.wells.history(well, site=site, known_on=known_on, each=each)
    if form == "table":
        output.grouped(reviewed.describe_history(table))
    else:
        output.rows(table, form)
