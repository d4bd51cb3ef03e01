"""``gwnet pumping figure``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output
from gwnet.cli.pumping import asked


@click.command("figure")
@asked.test
@click.option(
    "--kind",
    type=click.Choice(["half-log", "log-log", "recovery", "steps", "distance"]),
    default=None,
    help="Axes: drawdown over the logarithm of time; both logarithmic, with the derivative; residual drawdown over "
    "t/t'; steps; drawdown over distance. Default: steps for a step test, else half-log.",
)
@click.option("--method", default="", metavar="M", help="Draw this analysis with its residuals.")
@asked.wells
@asked.background
@asked.before_hours
@asked.is_air_removed
@asked.superposed
@options.figure_file
@options.site
@options.known_on
@options.unit
@options.db
def command(test: str, kind: str | None, out: Path, db: str, **chosen: Any) -> None:
    """Draw a test: drawdowns, recovery, steps or distances.

    With --method the line of the analysis lies over the readings, its residuals beside them, and its parameters with
    limits below. Readings that did not take part are hollow.
    """
    with options.open_record(db) as net:
        figure = net.pumping.figure(test, kind or "", **chosen)
        output.files([net.save_figure(figure, out)])
