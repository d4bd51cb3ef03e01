"""``gwnet pumping drawdown``."""

from typing import Any

import click

from gwnet.cli import options, output
from gwnet.cli.pumping import asked
from gwnet.units import text_in_unit


@click.command("drawdown")
@asked.test
@asked.wells
@asked.before
@click.option("--static", "is_static", is_flag=True, help="Print the levels before the test instead, one row a well.")
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(test: str, is_static: bool, form: str, db: str, **chosen: Any) -> None:
    """Print the drawdowns of a test, one row a reading.

    Drawdown is positive downward, and its uncertainty the 95 % half-width of the reading and the level before the test
    together. Elapsed time counts from the start of pumping and, in a second column, from the last change of rate.
    """
    with options.open_record(db) as net:
        table = net.pumping.static_levels(test, **chosen) if is_static else net.pumping.drawdown(test, **chosen)
        same = {name: chosen[name] for name in ("before_hours", "is_air_removed", "site", "known_on")}
        for sentence in net.pumping.remarks(test, **same):
            output.say(text_in_unit(sentence, chosen["unit"]))
    output.rows(table, form)
