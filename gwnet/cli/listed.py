"""``gwnet list``."""

import datetime as dt

import click

from gwnet.cli import options, output


@click.command("list")
@click.argument("table")
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(table: str, site: str | None, known_on: dt.datetime | str | None, unit: str, form: str, db: str) -> None:
    """List a table as it is on record: construction, measuring points, thresholds and others.

    TABLE is one of sites, aquifers, wells, construction, measuring-points, instruments, tape-checks, installations,
    rounds, thresholds, stages, context, pumping-tests, pumping-rates, pumping-readings and register. Times are on the
    site's clock, in files in UTC.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    with options.open_record(db) as net:
        rows = net.tables(table, site=site, known_on=known_on)
    # Numbers of rows are the database's own; codes say the same to a person.
    rows = rows.drop(columns=[name for name in rows if name.endswith("_id")])
    output.rows(in_unit(rows, unit), form, empty=f"No row of {table} is on record.")
