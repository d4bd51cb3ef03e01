"""``gwnet pumping list``."""

from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("list")
@click.option("--findings", is_flag=True, help="List what looks wrong in the tests instead, with what can be done.")
@options.site
@options.known_on
@options.form
@options.db
def command(findings: bool, form: str, db: str, **chosen: Any) -> int:
    """List the pumping tests on record, or what looks wrong in them.

    The column findings counts what looks wrong: no level before the test, gaps in the rates, times of passing out of
    order and the like. With --findings the exit code is 3 when there are some.
    """
    with options.open_record(db) as net:
        table = net.pumping.findings(**chosen) if findings else net.pumping.tests(**chosen)
    output.rows(table, form, empty="Nothing looks wrong." if findings else "No pumping test is on record.")
    return DONE_WITH_FINDINGS if findings and len(table) else DONE
