"""``gwnet restore``."""

from pathlib import Path

import click

from gwnet.cli import copied, options, output


@click.command("restore")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@options.db
def command(file: Path, db: str) -> int | None:
    """Make a record from a backup or archive, and verify it.

    FILE is of 'gwnet backup' or of 'gwnet export everything'. The database must be new or empty: a file that does not
    exist yet, or a PostgreSQL database without a record. Every row keeps both of its times, so that --known-on gives
    what it gave before.
    """
    from gwnet.network import Network

    with output.progress("restore") as progress:
        made = Network.restore(file, db, progress=progress)
    return copied.report(made, f"Restored {options.database_name(db)} from {file}.")
