"""``gwnet logger load``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, options, output
from gwnet.cli.loggers import loaded as logger_loaded


@click.command("load")
@click.argument("paths", nargs=-1, required=True, type=click.Path(exists=True, path_type=Path), metavar="PATH...")
@click.option(
    "--layout",
    default="auto",
    show_default=True,
    metavar="LAYOUT",
    help="Name of a layout or a TOML file; auto takes the one that the instrument's files were read with before, or "
    "what looking at the file proposes, where that leaves no doubt.",
)
@click.option(
    "--instrument",
    metavar="ID",
    help="Instrument. Default: the one with the serial number in the file, or whose files have its name.",
)
@click.option(
    "--series", "quantity", metavar="QUANTITY", help="Only this quantity; a lone column of values is taken to be this."
)
@click.option("--zone", metavar="ZONE", help="Zone of the times, where neither layout nor file says one.")
@click.option(
    "--repeated-hour",
    type=click.Choice(["first", "second"]),
    help="Of which hour a time is that was twice at the end of summer time, where nothing in the file shows it.",
)
@click.option("--only", metavar="WORD", help="Which well or instrument to read, where a column of the file says it.")
@options.by
@options.form
@options.db
def command(paths: tuple[Path, ...], form: str, db: str, **chosen: Any) -> int:
    """Load files of loggers, or folders of them.

    Each file lands whole or not at all, and by itself. What is on record already is passed over and counted; another
    value at the same time is a finding, and the one on record stays. A file that is loaded already changes nothing.
    """
    with options.open_record(db) as net, output.progress("loading") as progress:
        result = net.loggers.load(paths, progress=progress, say=output.say, **chosen)
    logger_loaded.show(result, form)
    # Some of several files may land: that is done with findings, and only none of them is a stop.
    if len(result.refused) == len(result.files):
        return STOPPED
    return DONE_WITH_FINDINGS if result.has_findings else DONE
