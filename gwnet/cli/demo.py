"""``gwnet demo``."""

from pathlib import Path

import click

from gwnet.cli import output


@click.command("demo")
@click.argument("folder", default="gwnet-demo", type=click.Path(file_okay=False, path_type=Path), metavar="[DIR]")
def command(folder: Path) -> None:
    """Build the demo network, its figures and its report.

    An invented wellfield: its tables are loaded as anybody's would be, into a database in DIR (default gwnet-demo),
    and the quarterly report, maps and hydrographs are made beside it. Prints what was made and where.
    """
    from gwnet import demo

    with output.progress("building the demo network") as progress:
        products = demo.build(folder, progress=progress)
    output.grouped((product.what, str(product.path)) for product in products)
    output.say(f"Ask it something, for example: gwnet wells --db {products[0].path}")
