"""``gwnet map``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("map")
@click.option("--aquifer", required=True, metavar="AQUIFER", help="Aquifer to map.")
@click.option("--date", required=True, type=options.Day(), metavar="DATE", help="Local date of the levels.")
@click.option(
    "--window",
    "window_days",
    type=click.FloatRange(min=0),
    metavar="DAYS",
    help="Days before and after the date that count as the same day. Default: the site's.",
)
@click.option(
    "--method",
    type=click.Choice(["kriging", "triangulation"]),
    default="kriging",
    show_default=True,
    help="How the surface is fitted.",
)
@options.interval
@options.out_folder
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(out: Path, unit: str, form: str, db: str, **chosen: Any) -> None:
    """Draw the potentiometric map of one aquifer and day.

    Writes map.pdf, map.png and map.gpkg (layers control, contours, arrows, boundary) into the folder, and prints the
    gradient, its direction and their uncertainty, and the cross-validation error of the surface.
    """
    with options.opened(db) as net:
        drawn = net.map(unit=unit, **chosen)
        made = drawn.write(out)
    output.rows(drawn.summary(), form)
    output.made(made)
