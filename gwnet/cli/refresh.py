"""``gwnet refresh``."""

import click

from gwnet.cli import options, output


@click.command("refresh")
@options.db
def command(db: str) -> None:
    """Fill the table of reduced levels that SQL reads.

    Loading, correcting and reviewing empty the table reduced_level, so that it never holds a level that is no longer
    on record; this fills it with the levels as they are now.
    """
    with options.open_record(db) as net:
        count = net.levels.refresh()
    output.say(f"The table reduced_level holds {count:,} levels as they are on record now.")
