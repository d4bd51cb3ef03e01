"""``gwnet init``."""

import click

from gwnet.cli import options, output


@click.command("init")
@options.db
def command(db: str) -> None:
    """Make an empty database.

    A database that is there already is left as it is; one of an older version is migrated.
    """
    with output.working():
        from gwnet import network

        before, after = network.init(db)
    name = options.database_name(db)
    if before == after:
        output.say(f"The database {name} is there already, at revision {after}.")
    else:
        output.say(f"{'Made' if before is None else 'Migrated'} the database {name}; it is at revision {after}.")
