"""``gwnet logger try``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output
from gwnet.cli.loggers import tried as logger_tried
from gwnet.errors import LayoutError, PartialLayoutError


@click.command("try")
@click.argument("path", type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="FILE")
@click.option("--layout", metavar="LAYOUT", help="Name of a layout or a TOML file. Default: one that looking proposes.")
@click.option("--zone", metavar="ZONE", help="Zone of the times, where neither layout nor file says one.")
@click.option(
    "--repeated-hour",
    type=click.Choice(["first", "second"]),
    help="Of which hour a time is that was twice at the end of summer time, where nothing in the file shows it.",
)
@click.option("--only", metavar="WORD", help="Which well or instrument to read, where a column of the file says it.")
@click.option(
    "--series",
    "quantity",
    metavar="QUANTITY",
    help="Only this quantity; the one column in such a unit is taken to be it.",
)
@click.option(
    "--rows", "shown", type=click.IntRange(1, 1000), default=5, show_default=True, help="Rows to show of each end."
)
@click.option("--save", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write the layout there.")
@options.form
def command(path: Path, save: Path | None, form: str, **chosen: Any) -> int:
    """Show what is read from a file of a logger, and store nothing.

    Without a layout one is proposed: what was inferred, why, and what is in doubt is printed. Then come the first
    and last rows as read, the span in local time and UTC, gaps, and the rows that are no plain samples. --save writes
    the layout also where it does not read the file yet, with what is lacking marked CHECK.
    """
    try:
        with output.working():
            from gwnet.network.loggers import Loggers

            trial = Loggers.try_file(path, **chosen)
    except PartialLayoutError as error:
        if save is None:
            raise
        # what was found is worth having, even where it does not yet read the file
        output.write_new(save, error.text, "layout")
        fix = f"Complete {save}, where CHECK says what is open, and give it with --layout."
        raise LayoutError(error.message, where=error.where, fix=fix) from None
    logger_tried.show(trial, form)
    if save is not None:
        output.write_new(save, trial.toml(), "layout")
    return DONE_WITH_FINDINGS if trial.bad or (trial.proposal is not None and trial.proposal.doubts) else DONE
