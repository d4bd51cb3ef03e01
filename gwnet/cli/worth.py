"""``gwnet worth``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("worth")
@options.mapped_aquifer
@options.day
@options.window
@click.option("--places", "candidates", type=click.IntRange(1, 20), default=3, show_default=True, help="Further wells.")
@options.exclude
@options.loggers("Use the level of a well's logger where there is no usable manual reading.")
@options.out_folder
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(out: Path, unit: str, form: str, db: str, **chosen: Any) -> None:
    """Rank wells by their data worth: what the map loses without them.

    Prints the wells, the one whose removal changes the map of that day least first, and writes worth.pdf, worth.png
    (with the places where the error of the map is largest), worth.csv and places.csv into the folder.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    with options.open_record(db) as net:
        data_worth = net.map.data_worth(unit=unit, **chosen)
        written = data_worth.write(out)
    output.rows(in_unit(data_worth.table, unit), form)
    for row in in_unit(data_worth.places(), unit).to_dict("records"):
        where = f"{row['easting']:.0f}, {row['northing']:.0f}"
        output.say(f"error largest at {row['place']}, {where}: ± {row[f'uncertainty_{unit}']:.2f} {unit}")
    output.say_written(written)
