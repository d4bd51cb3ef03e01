"""``gwnet hydrograph``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import completion, options, output


@click.command("hydrograph")
@click.argument("wells", nargs=-1, required=True, metavar="WELL...", shell_complete=completion.wells)
@options.figure_file
@options.loggers("Draw the heads of loggers under the manual readings.")
@options.span
@options.site
@options.known_on
@options.unit
@options.db
def command(wells: tuple[str, ...], out: Path, db: str, **chosen: Any) -> None:
    """Draw the hydrograph of one or more wells."""
    with options.open_record(db) as net:
        figure = net.hydrograph(wells, **chosen)
        output.files([net.save_figure(figure, out)])
