"""``gwnet pumping sheet``."""

from typing import Any

import click

from gwnet.cli import options, output
from gwnet.cli.pumping import asked


@click.command("sheet")
@asked.test
@options.out_folder
@asked.wells
@click.option("--page", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the PDF.")
@options.site
@options.known_on
@options.db
def command(test: str, db: str, **chosen: Any) -> None:
    """Make the sheet of a test: a PDF to print and a workbook to fill in.

    The test is on record, with its planned start. Both have the moments at which each well is to be read and boxes for
    the rate, the depth, the set depth and the time of passing. The workbook goes back in with 'gwnet load' as it is.
    """
    with options.open_record(db) as net:
        output.files(net.pumping.sheet(test, **chosen))
