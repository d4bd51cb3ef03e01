"""``gwnet check``."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("check")
@click.option("--round", "round", metavar="ROUND", help="Only findings of this gauging round.")
@click.option("--dry-run", is_flag=True, help="Print the findings and record nothing.")
@options.site
@options.by
@options.known_on
@options.form
@options.db
def command(form: str, db: str, by: str, dry_run: bool, known_on: dt.datetime | None, **chosen: Any) -> int:
    """Run the checks and print their findings.

    Findings are recorded for review: new ones are added, those that no longer hold are retired. With --dry-run or
    --known-on they are only printed. Exit code 3 when there are findings.
    """
    recorded = not dry_run and known_on is None
    with options.opened(db) as net:
        findings = net.check(by=by if recorded else None, known_on=known_on, **chosen)
    hidden = ["event_id", "limits", "decided_by", "decision_reason"] if form == "table" else ["event_id"]
    shown = findings[["finding_id", *findings.columns.drop("finding_id")]].drop(columns=hidden)
    output.rows(shown, form, empty="No findings.")
    if recorded:
        stored = findings.attrs["stored"]
        output.say(f"{stored.added} recorded, {stored.kept} on record already, {stored.retired} no longer found.")
    return DONE if findings.empty else DONE_WITH_FINDINGS
