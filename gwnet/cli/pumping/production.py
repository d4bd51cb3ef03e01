"""``gwnet pumping production``."""

from typing import Any

import click

from gwnet.cli import options, output
from gwnet.cli.pumping import asked


@click.command("production")
@asked.test
@click.option(
    "--rate",
    "rates_l_s",
    type=click.FloatRange(min=0, min_open=True),
    multiple=True,
    metavar="L/S",
    help="Rate whose drawdown is wanted, in L/s; several times.",
)
@click.option(
    "--hours",
    type=click.FloatRange(min=0, min_open=True),
    default=24.0,
    show_default=True,
    help="Time since the start of pumping.",
)
@click.option(
    "--limit",
    "limit_m",
    type=float,
    callback=options.in_metres,
    metavar="DEPTH",
    help="Depth below the measuring point that the level is to stay above, in the unit of --unit; beside pump intake "
    "and screen top.",
)
@click.option("--method", default="", metavar="M", help="Analysis to work it out by. Default: step-theis, or theis.")
@asked.background
@asked.before_hours
@asked.is_air_removed
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(test: str, unit: str, form: str, db: str, **chosen: Any) -> None:  # noqa: ARG001 (the unit of --limit)
    """Work out what a well can yield: drawdowns for rates, and rates for a limit.

    One row a number, with limits at 95 %: available drawdown to the nearest of pump intake, screen top and --limit;
    specific capacity at the end of each rate of the test with its hours; the drawdown for each --rate after --hours;
    and the rate that keeps the level above the limit for that time. Interference, seasonal lows and licences are for a
    licensed professional and the local authority.
    """
    with options.open_record(db) as net:
        made = net.pumping.production(test, **chosen)
    output.rows(made.table, form)
    for note in made.notes:
        output.say(note)
