"""``gwnet map``."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import options, output
from gwnet.constants import MAP_METHODS

if TYPE_CHECKING:
    from gwnet.products.comparisons import ChangeMap, MapPair
    from gwnet.products.maps import SiteMap


def _variogram(ctx: click.Context, _param: click.Parameter, value: str | None) -> Any:
    """Return the variogram that a text names; lengths are in the display unit, which is eager and so parsed before."""
    if value is None:
        return None
    from gwnet.errors import SettingsError
    from gwnet.hydro.surfaces.variogram import variogram_of
    from gwnet.units import metres_per

    try:
        return variogram_of(value, unit_m=metres_per(ctx.params.get("unit", "m")))
    except SettingsError as error:
        raise click.BadParameter(str(error)) from None


@click.command("map")
@options.mapped_aquifer
@options.day
@options.window
@click.option(
    "--method",
    type=click.Choice(MAP_METHODS),
    default="kriging",
    show_default=True,
    help="How the surface is fitted; auto is the one of the next three with the smallest leave-one-out error; "
    "quadratic is a trend surface, from seven wells on, which does not pass through the levels.",
)
@click.option(
    "--variogram",
    callback=_variogram,
    metavar="MODEL,SILL,RANGE,NUGGET",
    help="Variogram for kriging: spherical, exponential, gaussian, matern or linear; sill (nugget included) and "
    "nugget in the square of --unit, range in --unit. Default: fitted.",
)
@options.interval
@options.exclude
@click.option("--barriers", metavar="FILE[:LAYER]", help="Lines that heads do not reach across, for example faults.")
@click.option("--boundary", metavar="FILE[:LAYER]", help="Polygon beyond which nothing is drawn.")
@click.option(
    "--rivers",
    metavar="FILE[:LAYER]",
    help="Lines whose heads are control: stated (head_m; head_start_m and head_end_m; heights of the corners), or of "
    "the gauges on them.",
)
@click.option(
    "--base",
    "base_m",
    type=float,
    callback=options.in_metres,
    metavar="ELEVATION",
    help="Base of the unit, in the unit of --unit; nothing is drawn at heads below it.",
)
@click.option(
    "--base-layers",
    multiple=True,
    metavar="FILE[:LAYER]",
    help="Geometry to draw under the map, for example buildings; may be given several times.",
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
@options.loggers("Use the level of a well's logger where there is no usable manual reading.")
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
    loggers: bool,
    **chosen: Any,
) -> None:
    """Draw the potentiometric map of one aquifer and day.

    Writes map.pdf, map.png and map.gpkg (layers control, contours, arrows, boundary) into the folder, and prints the
    gradient, its direction and their uncertainty, and the cross-validation error of the surface. With --change-from it
    writes change.pdf, change.png and change.gpkg instead, with --paired-with pair.pdf, pair.png and a GeoPackage of
    each map.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    _refuse(since, storage, other, chosen)
    drawn: ChangeMap | MapPair | SiteMap
    with options.open_record(db) as net:
        if since is not None:
            kept = {name: value for name, value in chosen.items() if name not in _NOT_OF_CHANGES}
            drawn = net.map.change(since=since, storage=storage, unit=unit, loggers=loggers, **kept)
        elif other is not None:
            drawn = net.map.pair(dates=(chosen.pop("date"), other), unit=unit, loggers=loggers, **chosen)
        else:
            drawn = net.map(unit=unit, loggers=loggers, **chosen)
        written = drawn.write(out)
    table = in_unit(drawn.summary(), unit)
    if other is not None:
        output.rows(table, form)
    else:
        # On a terminal alone: hundreds of wells of a large network would push the result off the screen.
        lists = {"exclusions": "; ", "not_significant": ", "} if form == "table" else {}
        short = {name: _first(table[name][0], separator) for name, separator in lists.items() if name in table}
        output.record(table.assign(**short), form)
    output.say_written(written)


def _first(listed: str, separator: str, most: int = 6) -> str:
    """Return the first wells of a list, and how many more there are."""
    wells = listed.split(separator)
    more = len(wells) - most
    # "and 1 more well" takes more room than its name.
    if more <= 1:
        return listed
    return f"{separator.join(wells[:most])}{separator}and {more} more wells (all are in the GeoPackage)"


#: Options of a map of levels that mean nothing for one of changes.
_NOT_OF_CHANGES = {"variogram": "variogram", "barriers": "barriers", "rivers": "rivers", "base_m": "base"}


def _refuse(since: dt.date | None, storage: str | None, other: dt.date | None, chosen: dict[str, Any]) -> None:
    """Refuse options that do not go together."""
    if since is not None and other is not None:
        raise click.UsageError("A map shows either a change or a pair: give --change-from or --paired-with, not both.")
    if storage is not None and since is None:
        raise click.UsageError("--storage is for the volume of a change: give --change-from as well.")
    wrong = [f"--{word}" for name, word in _NOT_OF_CHANGES.items() if chosen[name] is not None]
    if since is not None and wrong:
        message = f"{', '.join(wrong)} goes with maps of levels, not with --change-from."
        raise click.UsageError(message)
