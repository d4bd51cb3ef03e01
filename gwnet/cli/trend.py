"""``gwnet trend``."""

from typing import Any

import click

from gwnet.cli import options, output


@click.command("trend")
@options.wells
@click.option("--aquifer", metavar="AQUIFER", help="Only wells of this aquifer.")
@click.option(
    "--method",
    type=click.Choice(["kendall", "seasonal"]),
    default="seasonal",
    show_default=True,
    help="One value a year, or each season compared with its own kind.",
)
@click.option(
    "--seasons", type=click.Choice(["12", "4"]), default="4", show_default=True, help="Seasons of a year, from January."
)
@options.span
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], seasons: str, form: str, db: str, **chosen: Any) -> None:
    """Test levels for trends, one row a well.

    Several levels of a season or year give their median; dry wells take part as bounds. Slopes are positive upward,
    with limits at 95 %. Direction is told at 5 % of the p adjusted for the number of wells; the note says what the
    numbers rest on.
    """
    with options.opened(db) as net:
        table = net.trends(wells or None, seasons=int(seasons), **chosen)
    output.rows(table, form, empty="No well is on record that matches.")
