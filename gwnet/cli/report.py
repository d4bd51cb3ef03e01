"""``gwnet report``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("report")
@click.argument("definition")
@click.option("--period", required=True, metavar="PERIOD", help="Period to report, for example 2026-Q1.")
@options.out_folder
@options.site
@options.known_on
@click.option(
    "--unit", type=click.Choice(["m", "ft"]), help="Unit of depths and elevations. Default: the definition's."
)
@options.db
def command(definition: str, period: str, out: Path, db: str, **chosen: Any) -> None:
    """Make a report from its definition.

    DEFINITION is the name of one that travels with gwnet (quarterly) or the path of a TOML file. Writes the PDF, its
    manifest and the data annex into the folder. The same record, definition and --known-on give the same bytes.
    """
    with options.opened(db) as net, output.progress("report") as progress:
        made = net.report(definition, period, out, progress=progress, **chosen)
    output.files(made)
