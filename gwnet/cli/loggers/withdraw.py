"""``gwnet logger withdraw``."""

from typing import Any

import click

from gwnet.cli import options
from gwnet.cli.loggers import loaded as logger_loaded


@click.command("withdraw")
@click.argument("file", metavar="FILE|SHA")
@click.option("--reason", required=True, metavar="TEXT", help="Why; kept with the record.")
@click.option("--instrument", metavar="ID", help="Only its samples of this instrument.")
@click.option("--series", "quantity", metavar="QUANTITY", help="Only its samples of this quantity.")
@options.by
@options.db
def command(file: str, db: str, **chosen: Any) -> None:
    """Withdraw the samples of a file of a logger.

    The file is named by its path, its name as it was loaded, or the first letters of its SHA-256. Nothing is deleted:
    the record of an earlier time still has its samples. The same file may then be loaded again, with another layout.
    """
    with options.open_record(db) as net:
        done = net.loggers.withdraw(file, **chosen)
    logger_loaded.show_withdrawn(done)
