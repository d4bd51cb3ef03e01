"""``gwnet check``."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, completion, options, output

#: Columns on a terminal.
_COLUMNS = ("finding_id", "well", "measured_at", "round", "rule", "severity", "decision", "message")


@click.command("check")
@click.option(
    "--round", "round", metavar="ROUND", shell_complete=completion.rounds, help="Only findings of this gauging round."
)
@click.option("--dry-run", is_flag=True, help="Print the findings and record nothing.")
@options.site
@options.by
@options.known_on
@options.form
@options.db
def command(form: str, db: str, by: str, dry_run: bool, known_on: dt.datetime | str | None, **chosen: Any) -> int:
    """Run the checks and print their findings.

    Findings are recorded for review: new ones are added, those that no longer hold are retired. With --dry-run or
    --known-on they are only printed. Exit code 3 when there are findings.
    """
    with options.open_record(db) as net:
        # Findings about the past are not recorded: they would be verdicts of today on a record that is no more.
        if dry_run or known_on is not None:
            findings, stored = net.checks(known_on=known_on, **chosen), None
        else:
            recorded = net.checks.record(by=by, **chosen)
            findings, stored = recorded.findings, recorded.stored
    table = findings[["finding_id", *findings.columns.drop(["finding_id", "event_id"])]]
    output.rows(table, form, empty="No findings.", columns=_COLUMNS)
    if stored is not None:
        output.say(f"{stored.added} recorded, {stored.kept} on record already, {stored.retired} no longer found.")
    return DONE if findings.empty else DONE_WITH_FINDINGS
