"""``gwnet doctor``."""

import json
from dataclasses import asdict
from itertools import groupby

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output


@click.command("doctor")
@click.option("--accept-clock", is_flag=True, help="Record that the record is ahead of the clock, and go on after it.")
@click.option("--renew", is_flag=True, help="Before looking, make triggers anew, and packs of samples that are wrong.")
@options.reason("needed with --accept-clock")
@options.by
@options.form
@options.db
def command(form: str, db: str, by: str, reason: str | None, *, accept_clock: bool, renew: bool) -> int:
    """Examine the record: file, schema, triggers, states, rows, samples, kept files.

    Every row is compared with the state of the record that added or retired it, and states with one another by their
    digests; what something else than gwnet changed is named with the first state that does not fit. Nothing is
    written. Ends with 3 where something was found.
    """
    from gwnet import network

    if accept_clock:
        with options.open_record(db) as net:
            state = net.accept_clock(by=by, reason=reason or "")
        output.say(f"Recorded as {state.text}: later states follow after the newest.")
        return DONE
    if renew:
        series = network.renew(db)
        output.say(f"Triggers were made anew, and packs of {len(series)} series where they did not fit their samples.")
    with output.progress("doctor") as progress:
        done = network.doctor(db, progress)
    if form == "json":
        rows = {"checks": [asdict(check) for check in done.checks], "findings": [asdict(one) for one in done.findings]}
        click.echo(json.dumps(rows, ensure_ascii=False, indent=1))
    else:
        output.rows(done.table(), form, empty="Nothing was found.")
        left = [check for check in done.checks if check.outcome.startswith("not checked")]
        for outcome, some in groupby(left, key=lambda check: check.outcome):
            names = [check.check for check in some]
            shown = names if len(names) < 4 else [names[0], names[1], f"{len(names) - 2} more"]
            output.say(f"{', '.join(shown)}: {outcome}.")
    findings = "1 finding" if len(done.findings) == 1 else f"{len(done.findings)} findings"
    output.say(f"{len(done.checks)} checks, {findings}.")
    return DONE_WITH_FINDINGS if done.findings else DONE
