"""``gwnet logger inbox``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("inbox")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="DIR")
@click.option(
    "--done", type=click.Path(file_okay=False, path_type=Path), metavar="DIR", help="Where to. Default: DIR/done."
)
@click.option(
    "--wait",
    "wait_s",
    type=click.FloatRange(min=0),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="Leave files alone that were changed so lately: they may still be arriving.",
)
@click.option("--zone", metavar="ZONE", help="Zone of the times, where neither layout nor file says one.")
@options.by
@options.form
@options.db
def command(folder: Path, form: str, db: str, **chosen: Any) -> int:
    """Load the files that arrived in a folder, and move them aside.

    For a scheduler: exit code 0 where all is done or nothing had arrived, 3 where somebody should look (a file was
    refused and stays, or differs from the record), 1 where nothing could be done, such as when another run is at work.
    A run that was killed is completed by the next one, and nothing is loaded twice. No file is replaced or deleted.
    """
    with options.open_record(db) as net:
        result = net.loggers.inbox(folder, say=output.say, **chosen)
    output.rows(result.frame(), form, empty="No file had arrived.")
    return DONE_WITH_FINDINGS if result.has_findings else DONE
