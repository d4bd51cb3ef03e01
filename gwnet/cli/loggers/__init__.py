"""``gwnet logger``: the commands of loggers, each in a module of its own that is loaded only when it runs."""

from __future__ import annotations

from typing import Final

import click

from gwnet.cli.lazy import LazyGroup

#: Every command: its module below this package, and its line in the help.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "layouts": ("layouts", "List the layouts that travel with the program, or print one."),
    "try": ("try_file", "Show what is read from a file of a logger, and store nothing."),
    "load": ("load", "Load files of loggers, or folders of them."),
    "inbox": ("inbox", "Load the files that arrived in a folder, and move them aside."),
    "samples": ("samples", "Print or draw the stored samples of loggers, as they are in the files."),
    "downloads": ("downloads", "List the files that were loaded, one row a file and series."),
    "conflicts": ("conflicts", "List values that differ from those on record at the same instant."),
    "coverage": ("coverage", "Draw when each logger has samples and each well manual readings."),
    "status": ("status", "Summarize the state of each logger, one row a deployment."),
    "findings": (
        "findings",
        "List what looks wrong in the series of loggers, and the correction that would fix it.",
    ),
    "correct": ("correct", "Correct the series of a logger, dismiss a finding, or withdraw a correction."),
    "efficiency": ("efficiency", "Work out the barometric efficiency of wells with loggers, with limits at 95 %."),
    "heads": ("heads", "Print the heads of loggers, one row a sample or a day."),
    "withdraw": ("withdraw", "Withdraw the samples of a file of a logger."),
}


@click.group("logger", cls=LazyGroup, package="gwnet.cli.loggers", table=COMMANDS)
def command() -> None:
    """Load the files of loggers and work with them."""
