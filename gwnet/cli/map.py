"""``gwnet map``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("map")
@click.option("--aquifer", required=True, metavar="AQUIFER", help="Aquifer to map.")
@click.option("--date", required=True, type=options.Day(), metavar="DATE", help="Local date of the levels.")
@options.window
@click.option(
    "--method",
    type=click.Choice(["kriging", "triangulation"]),
    default="kriging",
    show_default=True,
    help="How the surface is fitted.",
)
@options.interval
@click.option(
    "--exclude", multiple=True, metavar="WELL", help="Leave this well or gauge out; may be given several times."
)
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
    from gwnet.network import in_unit

    with options.opened(db) as net:
        drawn = net.map(unit=unit, **chosen)
        made = drawn.write(out)
    output.record(in_unit(drawn.summary(), unit), form)
    output.made(made)
