"""``gwnet calculate``: corrections that are worked out before a table is loaded; no database is needed."""

from __future__ import annotations

from typing import Any

import click

from gwnet.cli import options, output


@click.group("calculate")
def command() -> None:
    """Work out corrections to enter in tables: stretch of a tape, shift of a vertical datum."""


@command.command("tape")
@click.option("--length", "length_m", type=float, required=True, metavar="M", help="Length as read on the tape [m].")
@click.option("--temperature", "temperature_c", type=float, metavar="C", help="Mean temperature of the tape [°C].")
@click.option("--tension", "tension_n", type=float, metavar="N", help="Pull at the lower end of the tape [N].")
@click.option("--standard-tension", "standard_n", type=float, metavar="N", help="Pull with which it is right [N].")
@click.option("--section", "section_mm2", type=float, metavar="MM2", help="Cross section of its steel [mm²].")
@click.option("--weight", "weight_n_per_m", type=float, default=0.0, metavar="N", help="Weight of a metre of it [N/m].")
@options.form
def tape(form: str, **chosen: Any) -> None:
    """Work out what warmth and pull add to a length read on a steel tape.

    The temperature correction is against 20 °C; the tension correction needs --tension, --standard-tension and
    --section.
    """
    from gwnet.products.calculations import tape_row

    output.record(tape_row(**chosen), form)


@command.command("datum")
@click.option("--latitude", type=float, required=True, help="Latitude of the place [degrees].")
@click.option("--longitude", type=float, required=True, help="Longitude of the place, east positive [degrees].")
@click.option("--elevation", "elevation_m", type=float, required=True, metavar="M", help="In the first datum [m].")
@click.option(
    "--corner",
    "corners",
    type=(float, float, float),
    multiple=True,
    metavar="LAT LON OFFSET",
    help="A corner of the cell of the grid around the place, with its offset [m]; give it four times.",
)
@options.form
def datum(form: str, **chosen: Any) -> None:
    """Work out an elevation in another vertical datum, from the offsets at the corners of a cell of a grid."""
    from gwnet.products.calculations import datum_row

    output.record(datum_row(**chosen), form)
