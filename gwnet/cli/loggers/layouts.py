"""``gwnet logger layouts``."""

import click

from gwnet.cli import options, output


@click.command("layouts")
@click.option("--show", "name", metavar="NAME", help="Print this one as TOML, to start a layout of one's own from.")
@click.option("--instrument", metavar="ID", help="Print the one that the newest file of this instrument was read with.")
@options.form
@options.db
def command(name: str | None, instrument: str | None, form: str, db: str) -> None:
    """List the layouts that travel with the program, or print one.

    The record remembers the layout of each file, so that the next one of the same instrument is read alike.
    """
    from gwnet.network.loggers import Loggers

    if instrument is not None:
        with options.open_record(db) as net:
            # As a file: sent to one, it is read again as it stands, so nothing is put around it.
            click.echo(net.loggers.remembered_layout(instrument).toml(), nl=False)
    elif name is None:
        output.rows(Loggers.layouts(), form)
    else:
        click.echo(Loggers.layout(name).toml(), nl=False)
