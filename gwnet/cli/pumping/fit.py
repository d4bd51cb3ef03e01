"""``gwnet pumping fit``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output
from gwnet.cli.pumping import asked
from gwnet.units import text_in_unit

_SHOWN = ("wells", "method", "parameter", "value", "unit", "lower", "upper", "identifiable", "n", "rmse_m")


@click.command("fit")
@asked.test
@click.option(
    "--method",
    "methods",
    multiple=True,
    required=True,
    metavar="M",
    help="Method, see 'gwnet help pumping'; several times to compare methods.",
)
@asked.wells
@asked.before
@click.option("--after", "first_min", type=float, metavar="MIN", help="Only readings later than this minute.")
@click.option("--until", "last_min", type=float, metavar="MIN", help="Only readings up to this minute.")
@click.option(
    "--boundary", type=click.Choice(["barrier", "recharge"]), help="Take a straight boundary into account (image well)."
)
@click.option("--image", type=(float, float), metavar="E N", help="Easting and northing of the image well.")
@click.option(
    "--heads", type=(float, float), metavar="LOW HIGH", help="Normalised heads that straight lines of slug tests take."
)
@click.option(
    "--trim/--no-trim",
    "is_trimmed",
    default=None,
    help="Leave out the readings at which a straight line does not hold yet. Default: unless --after or --until is "
    "given.",
)
@asked.superposed
@options.drawing("--figure", "Draw the drawdowns with the first method over them.")
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(
    test: str, methods: tuple[str, ...], figure: Path | None, unit: str, form: str, db: str, **chosen: Any
) -> None:
    """Analyse a test: one row a parameter, with limits at 95 %.

    Several wells are fitted together. Where the data set no limits, identifiable is false, and the note says what they
    do not determine. Parameters are in metres and days. rmse_m is the root mean square of the residuals; aicc compares
    methods of the same readings, the smallest is best supported.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    chosen["boundary"] = chosen["boundary"] or ""
    with options.open_record(db) as net:
        fitted = net.pumping.fit(test, methods, **chosen)
        if figure is not None:
            output.say_written([net.save_figure(fitted.figure(unit=unit), figure)])
    table = fitted.table.drop(columns=["test"]) if form == "table" else fitted.table
    output.rows(in_unit(table, unit), form, columns=_SHOWN)
    for line in fitted.sentences() if form == "table" else fitted.of_readings():
        output.say(text_in_unit(line, unit))
