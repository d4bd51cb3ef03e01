"""``gwnet logger samples``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("samples")
@click.option("--instrument", "instruments", multiple=True, metavar="ID", help="Only of this instrument; of several.")
@options.wells
@click.option(
    "--series",
    "quantities",
    multiple=True,
    metavar="QUANTITY",
    help="Only this quantity, such as 'water temperature', conductivity or battery; several.",
)
@options.span
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Draw into .png, .pdf or .svg."
)
@options.site
@options.known_on
@options.form
@options.db
def command(
    instruments: tuple[str, ...],
    wells: tuple[str, ...],
    quantities: tuple[str, ...],
    out: Path | None,
    form: str,
    db: str,
    **chosen: Any,
) -> None:
    """Print or draw the stored samples of loggers, as they are in the files.

    Of any quantity, in the unit of the files, with no correction and no air pressure: what was loaded. The heads that
    are worked out from them: gwnet logger heads.
    """
    asked = {"instruments": instruments or None, "quantities": quantities or None, **chosen}
    with options.open_record(db) as net:
        if out is not None:
            figure = net.loggers.samples_figure(wells or None, **asked)
            output.files([net.save_figure(figure, out)])
            return
        table = net.loggers.samples(wells or None, **asked)
    output.rows(table, form, empty="No sample of a logger is on record that matches.")
