"""``gwnet wells``."""

import datetime as dt

import click

from gwnet.cli import options, output

#: Columns on a terminal.
_COLUMNS = (
    *("well", "aquifer", "cluster", "role", "ground_elevation_m", "total_depth_m", "screen_top_m", "screen_bottom_m"),
    *("easting", "northing", "purpose", "drilled_on", "decommissioned_on", "replaced_by"),
)


@click.command("wells")
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(site: str | None, known_on: dt.datetime | str | None, unit: str, form: str, db: str) -> None:
    """List the wells on record.

    Depths are below ground; coordinates are in the site's reference system.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    with options.open_record(db) as net:
        table = net.wells(site, known_on).drop(columns="well_id", errors="ignore")
    output.rows(in_unit(table, unit), form, empty="No well is on record.", columns=_COLUMNS)
