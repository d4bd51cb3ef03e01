"""``gwnet pumping``: the commands of pumping tests, each in a module of its own that is loaded only when it runs."""

from __future__ import annotations

from typing import Final

import click

from gwnet.cli.lazy import LazyGroup

#: Every command: its module below this package, and its line in the help.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "list": ("listed", "List the pumping tests on record, or what looks wrong in them."),
    "sheet": ("sheet", "Make the sheet of a test: a PDF to print and a workbook to fill in."),
    "drawdown": ("drawdown", "Print the drawdowns of a test, one row a reading."),
    "fit": ("fit", "Analyse a test: one row a parameter, with limits at 95 %."),
    "figure": ("figure", "Draw a test: drawdowns, recovery, steps or distances."),
    "production": ("production", "Work out what a well can yield: drawdowns for rates, and rates for a limit."),
}


@click.group("pumping", cls=LazyGroup, package="gwnet.cli.pumping", table=COMMANDS)
def command() -> None:
    """Work with pumping tests: their sheets, drawdowns, analyses and figures."""
