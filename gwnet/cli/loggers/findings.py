"""``gwnet logger findings``."""

from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("findings")
@options.wells
@options.site
@options.known_on
@options.form
@options.db
def command(wells: tuple[str, ...], form: str, db: str, **chosen: Any) -> int:
    """List what looks wrong in the series of loggers, and the correction that would fix it.

    Clocks beside their barometer, spikes, steps, slipped cables, flat or bottomed-out intervals, sensors out of water,
    frozen or over range, gaps, manual readings that do not fit, drift, batteries. Nothing is changed: a person applies
    a suggestion, with a reason, by its command or by 'gwnet logger correct --accept FINDING'. Exit code 3 when there is
    any.
    """
    with options.open_record(db) as net:
        table = net.loggers.findings(wells or None, **chosen)
    output.rows(table, form, empty="Nothing looks wrong in the series of the loggers.")
    return DONE_WITH_FINDINGS if len(table) else DONE
