"""``gwnet logger status``."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import options, output

#: Columns on a terminal.
_COLUMNS = (
    *("well", "instrument", "last_utc", "coverage_percent", "gaps", "last_manual_reading", "residual_m"),
    *("drift_m_per_year", "battery", "findings", "warnings"),
)


@click.command("status")
@options.wells
@options.site
@click.option("--at", "at_utc", type=options.Instant(), metavar="TIME", help="When samples should reach. Default: now.")
@options.known_on
@options.unit
@options.form
@options.db
def command(wells: tuple[str, ...], at_utc: dt.datetime | None, form: str, db: str, **chosen: Any) -> None:
    """Summarize the state of each logger, one row a deployment.

    Coverage and gaps, last manual reading and last download, residuals at the manual readings (as anchored, and
    leave-one-out), drift and its share of the movement of the water, the uncertainty of the last head, the battery, and
    what is pending review: 'gwnet logger findings' lists each in full.
    """
    with options.open_record(db) as net:
        state = net.state(chosen["known_on"]) if chosen["known_on"] else None
        # Of an earlier state the loggers are judged as of then, or all of them would be overdue.
        moment = at_utc or (net.store.now_utc() if state is None else state.recorded_at_utc)
        table = net.loggers.status(wells or None, at_utc=moment, **chosen)
    output.rows(table, form, empty="No logger is on record that matches.", columns=_COLUMNS)
