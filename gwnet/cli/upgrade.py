"""``gwnet upgrade``."""

import click

from gwnet.cli import options, output


@click.command("upgrade")
@options.db
def command(db: str) -> None:
    """Migrate a database to this version.

    Make a backup first. The whole migration happens, or nothing of it.
    """
    with output.working():
        from gwnet import network

        before, after = network.upgrade(db)
    output.say(
        f"The database {options.database_name(db)} is up to date, at revision {after}."
        if before == after
        else f"Migrated the database {options.database_name(db)} from revision {before} to {after}."
    )
