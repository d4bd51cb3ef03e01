"""``gwnet logger coverage``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from gwnet.cli import options, output


@click.command("coverage")
@options.figure_file
@options.wells
@click.option("--loggers-only", is_flag=True, help="Leave out wells in which no logger was installed.")
@options.span
@options.site
@options.known_on
@options.db
def command(out: Path, db: str, wells: tuple[str, ...], **chosen: Any) -> None:
    """Draw when each logger has samples and each well manual readings.

    Samples in use and left out, deployments, and manual readings, on one axis of time. Many rows take several pages:
    one PDF has them all, pictures after the first are FILE-2, FILE-3 and so on.
    """
    with options.open_record(db) as net:
        chart = net.loggers.coverage(wells or None, **chosen)
        output.files(chart.write(out))
