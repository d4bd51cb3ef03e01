"""``gwnet import mappings``."""

import click

from gwnet.cli import options, output


@click.command("mappings")
@options.form
@options.db
def command(form: str, db: str) -> None:
    """List the mappings on record."""
    with options.open_record(db) as net:
        output.rows(net.imports.mappings(), form, empty="No mapping is on record.")
