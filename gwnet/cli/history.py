"""``gwnet history``."""

import datetime as dt

import click

from gwnet.cli import completion, options, output, reviewed


@click.command("history")
@click.argument("well", required=False, shell_complete=completion.wells)
@click.option("--states", is_flag=True, help="List the states of the record instead of what changed at a well.")
@click.option("--each", is_flag=True, help="Show every row by itself, not the rows of one load as one.")
@options.site
@options.known_on
@options.form
@options.db
def command(
    well: str | None,
    site: str | None,
    known_on: dt.datetime | str | None,
    form: str,
    db: str,
    *,
    states: bool,
    each: bool,
) -> None:
    """Show what changed at a well: when, by whom and why.

    In order of recording: site, well, construction, measuring points, instruments and tape checks used, thresholds,
    levels, findings, reviews and decisions. With --states and no well: the states of the record, by whom and by which
    act each was recorded. Times are on the site's clock, in files in UTC.
    """
    # The states are of the whole record, so a well beside them would promise less than is printed.
    if (well is None) != states:
        message = "Give a well, or --states alone."
        raise click.UsageError(message)
    with options.open_record(db) as net:
        if well is None:
            output.rows(net.states(known_on), form, empty="Nothing is on record.", columns=_STATES)
            return
        table = net.wells.history(well, site=site, known_on=known_on, each=each)
    if form == "table":
        output.grouped(reviewed.describe_history(table, output.zone()))
    else:
        output.rows(table, form)


#: Columns of states on a terminal.
_STATES = ("serial", "recorded_at_utc", "recorded_by", "act", "reason")
