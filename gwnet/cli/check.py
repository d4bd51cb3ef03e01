"""``gwnet check``."""

from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("check")
@click.option("--round", "round", metavar="ROUND", help="Only this gauging round.")
@options.site
@options.known_on
@options.form
@options.db
def command(form: str, db: str, **chosen: Any) -> int:
    """Run the checks and print their findings.

    Exit code 3 when there are findings.
    """
    with options.opened(db) as net:
        findings = net.check(**chosen)
    output.rows(findings, form, empty="No findings.")
    return DONE if findings.empty else DONE_WITH_FINDINGS
