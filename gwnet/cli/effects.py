"""``gwnet effects``."""

import datetime as dt

import click

from gwnet.cli import completion, options, output, reviewed


@click.command("effects")
@click.argument("wells", nargs=-1, metavar="[WELL]...", shell_complete=completion.wells)
@click.option(
    "--between",
    nargs=2,
    type=options.KnownOn(),
    metavar="TIME|state:N TIME|state:N",
    help="Record as known at these two times or in these two states. Default: just before the newest edit, and now.",
)
@options.site
@options.unit
@options.form
@options.db
def command(
    wells: tuple[str, ...],
    between: tuple[dt.datetime | str, dt.datetime | str] | None,
    site: str | None,
    unit: str,
    form: str,
    db: str,
) -> None:
    """List the levels that corrections moved, before and after.

    A new survey or tape check moves every level that rests on it; so does a corrected or withdrawn reading. The
    difference is after less before, and the sum of its parts. A corrected installation or hanging depth moves heads of
    its logger: one row, with the sample that moved farthest.
    """
    from gwnet.analysis.levels.display_unit import in_unit

    since, until = between or (None, None)
    with options.open_record(db) as net:
        table = in_unit(net.levels.effects(wells or None, site=site, since=since, until=until), unit)
    # On a terminal alone: who reads a file with a program wants the same columns every time.
    if form == "table":
        table = reviewed.drop_idle_columns(table)
    output.rows(table, form, empty="No level moved.")
