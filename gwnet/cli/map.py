"""``gwnet map``."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output

if TYPE_CHECKING:
    from gwnet.products.comparisons import ChangeMap, MapPair
    from gwnet.products.maps import SiteMap


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
@click.option(
    "--change-from",
    "since",
    type=options.Day(),
    metavar="DATE",
    help="Map the change of levels since this earlier day, with its volume.",
)
@click.option("--storage", metavar="S", help="Storage coefficient, with --change-from: 0.12 or 0.08..0.15.")
@click.option("--paired-with", "other", type=options.Day(), metavar="DATE", help="Set the map of this day beside it.")
@options.out_folder
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(
    out: Path,
    unit: str,
    form: str,
    db: str,
    since: dt.date | None,
    storage: str | None,
    other: dt.date | None,
    **chosen: Any,
) -> None:
    """Draw the potentiometric map of one aquifer and day.

    Writes map.pdf, map.png and map.gpkg (layers control, contours, arrows, boundary) into the folder, and prints the
    gradient, its direction and their uncertainty, and the cross-validation error of the surface. With --change-from it
    writes change.pdf, change.png and change.gpkg instead, with --paired-with pair.pdf, pair.png and a GeoPackage of
    each map.
    """
    from gwnet.analysis.display_unit import in_unit

    _refuse(since, storage, other)
    drawn: ChangeMap | MapPair | SiteMap
    with options.opened(db) as net:
        if since is not None:
            drawn = net.change_map(since=since, storage=storage, unit=unit, **chosen)
        elif other is not None:
            drawn = net.paired_maps(dates=(chosen.pop("date"), other), unit=unit, **chosen)
        else:
            drawn = net.map(unit=unit, **chosen)
        made = drawn.write(out)
    printed = output.record if other is None else output.rows
    printed(in_unit(drawn.summary(), unit), form)
    output.made(made)


def _refuse(since: dt.date | None, storage: str | None, other: dt.date | None) -> None:
    """Refuse options that do not go together."""
    if since is not None and other is not None:
        raise click.UsageError("A map shows either a change or a pair: give --change-from or --paired-with, not both.")
    if storage is not None and since is None:
        raise click.UsageError("--storage is for the volume of a change: give --change-from as well.")
