"""``gwnet gradient``."""

from typing import Any

import click

from gwnet.cli import options, output


@click.command("gradient")
@click.option("--wells", required=True, type=options.Codes(), metavar="A,B,C", help="Three wells or more.")
@click.option("--date", required=True, type=options.Day(), metavar="DATE", help="Local date of the levels.")
@options.window
@options.site
@options.known_on
@options.form
@options.db
def command(wells: list[str], form: str, db: str, **chosen: Any) -> None:
    """Work out the horizontal gradient from three or more wells.

    Three wells give the plane through them, more a fitted plane. The azimuth is that of flow, clockwise from grid
    north. Where the levels cannot be told apart within their uncertainty, that is the answer.
    """
    with options.opened(db) as net:
        output.record(net.gradient(wells, **chosen).summary(), form)
