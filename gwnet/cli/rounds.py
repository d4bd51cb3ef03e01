"""``gwnet rounds``."""

import datetime as dt

import click

from gwnet.cli import options, output


@click.command("rounds")
@options.site
@options.known_on
@options.form
@options.db
def command(site: str | None, known_on: dt.datetime | str | None, form: str, db: str) -> None:
    """List the gauging rounds on record.

    A round without a list of wells is planned for all of the site's wells.
    """
    with options.open_record(db) as net:
        table = net.rounds(site, known_on).drop(columns="round_id", errors="ignore")
    output.rows(table, form, empty="No gauging round is on record.")
