"""``gwnet logger layouts``."""

import click

from gwnet.cli import options, output


@click.command("layouts")
@click.option("--show", "name", metavar="NAME", help="Print this one as TOML, to start a layout of one's own from.")
@options.form
def command(name: str | None, form: str) -> None:
    """List the layouts that travel with the program, or print one."""
    from gwnet.network.loggers import Loggers

    if name is None:
        output.rows(Loggers.layouts(), form)
    else:
        click.echo(Loggers.layout(name).toml(), nl=False)
