"""Options of the commands that work on the drawdowns of one test."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from gwnet.cli import options

Command = TypeVar("Command", bound=Callable[..., Any])

test = click.argument("test", metavar="TEST")
wells = click.option("--wells", type=options.Codes(), metavar="A,B", help="Only these wells, in this order.")
thickness = click.option(
    "--thickness",
    "thickness_m",
    type=click.FloatRange(min=0, min_open=True),
    callback=options.in_metres,
    metavar="LENGTH",
    help="Saturated thickness of the aquifer in the unit of --unit. Default: that on record of the test.",
)


background = click.option(
    "--background",
    type=click.Choice(["mean", "line"]),
    default="mean",
    show_default=True,
    help="Level without pumping: the mean of the levels before the start, or a line through them.",
)
before_hours = click.option(
    "--before",
    "before_hours",
    type=click.FloatRange(min=0, min_open=True),
    default=24.0,
    show_default=True,
    metavar="HOURS",
    help="How long before the start levels count as levels before the test.",
)


is_air_removed = click.option(
    "--air-pressure/--no-air-pressure",
    "is_air_removed",
    default=True,
    show_default="taken out",
    help="Take the effect of the change of air pressure since the start out of readings and heads, by the barometric "
    "efficiency on record of each well; or leave it in.",
)


superposed = click.option(
    "--superpose",
    "superposed",
    type=options.Codes(),
    metavar="A,B",
    help="Superpose the pumping of these other wells, by their rates on record in this test and in others of the site; "
    "'all' for those that are pumped in the aquifer meanwhile.",
)


def before(command: Command) -> Command:
    """Add the options that say what the level would be without pumping."""
    unconfined = click.option(
        "--unconfined",
        "is_corrected",
        is_flag=True,
        help="Correct drawdowns for the thickness that an unconfined aquifer loses (Jacob 1944).",
    )
    return background(before_hours(is_air_removed(unconfined(thickness(command)))))
