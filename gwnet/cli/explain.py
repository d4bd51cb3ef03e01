"""``gwnet explain``."""

from typing import Any

import click

from gwnet.cli import completion, options, output


@click.command("explain")
@click.argument("well", shell_complete=completion.wells)
@click.argument("time")
@options.site
@options.known_on
@options.unit
@options.form
@options.db
def command(well: str, time: str, form: str, db: str, **chosen: Any) -> None:
    """Explain how one level was worked out.

    From the readings through tape check and survey to the elevation, each with its file and row. TIME is a local date
    or time in ISO 8601, as 'gwnet levels' prints it; a date explains every level of that day.
    """
    with options.open_record(db) as net:
        output.explanations(net.levels.explain(well, time, **chosen), form)
