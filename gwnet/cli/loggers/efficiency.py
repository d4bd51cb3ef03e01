"""``gwnet logger efficiency``."""

from typing import Any

import click

from gwnet.cli import options, output


@click.command("efficiency")
@options.wells
@click.option(
    "--every",
    "every_hours",
    type=click.FloatRange(min=0, min_open=True),
    default=1.0,
    show_default=True,
    metavar="HOURS",
    help="Step at which levels and air pressure are compared.",
)
@options.site
@options.known_on
@options.form
@options.db
def command(wells: tuple[str, ...], form: str, db: str, **chosen: Any) -> None:
    """Work out the barometric efficiency of wells with loggers, three ways.

    By Clark's signs of changes, and by regression of changes and of levels; they differ, and none is applied. To remove
    the response to air pressure from the heads: gwnet logger correct ID efficiency --value BE --reason TEXT.
    """
    with options.open_record(db) as net:
        table = net.loggers.efficiencies(wells or None, **chosen)
    output.rows(table, form, empty="No logger with an air pressure is on record that matches.")
