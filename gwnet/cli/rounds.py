"""``gwnet rounds``: list rounds, plan one, list what is due, make field sheets."""

import datetime as dt
from typing import Any

import click

from gwnet.cli import options, output


@click.group("rounds", invoke_without_command=True)
@options.site
@options.known_on
@options.form
@options.db
@click.pass_context
def command(
    context: click.Context, /, site: str | None, known_on: dt.datetime | str | None, form: str, db: str
) -> None:
    """List gauging rounds, plan one, list what is due, make field sheets.

    Without a verb: the rounds on record. A round without a list of wells is planned for all of the site's wells.
    """
    if context.invoked_subcommand is not None:
        options.refuse_before_verb(context)
        return
    with options.open_record(db) as net:
        # The number is the database's own: people know a round by its code.
        table = net.rounds(site, known_on).drop(columns="round_id", errors="ignore")
    output.rows(table, form, empty="No gauging round is on record.")


@command.command("due")
@click.option("--on", type=options.Day(), metavar="DATE", help="Local day to look from. Default: today.")
@click.option("--all", "everything", is_flag=True, help="List what is not due yet as well.")
@options.site
@options.known_on
@options.form
@options.db
def due(form: str, db: str, **chosen: Any) -> None:
    """List what is due: wells to gauge, measuring points to survey, tapes to check, bottoms to sound, loggers to visit.

    Each line says when it was done last, when it is due, and the rule behind it. The intervals are those of the sites
    table, or else defaults with their source.
    """
    with options.open_record(db) as net:
        table = net.rounds.due(**chosen)
    output.rows(table, form, empty="Nothing is due.")


@command.command("plan")
@click.argument("name", metavar="ROUND")
@click.option("--starts-on", required=True, type=options.Day(), metavar="DATE", help="First local day.")
@click.option("--ends-on", type=options.Day(), metavar="DATE", help="Last local day. Default: the first.")
@click.option(
    "--wells",
    type=options.Codes(),
    metavar="A,B,C",
    help="Wells of the round. Default: all that exist on its first day.",
)
@click.option("--as-given", is_flag=True, help="Keep the wells in the order of --wells.")
@click.option("--start", metavar="WELL", help="Well from which the walk starts.")
@click.option("--last", type=options.Codes(), metavar="A,B", help="Wells to be gauged last, such as contaminated ones.")
@click.option("--crew", metavar="NAMES", help="Who goes.")
@click.option("--purpose", metavar="TEXT", help="What the round is for.")
@click.option("--notes", metavar="TEXT", help="Notes of the round.")
@click.option("--correct", is_flag=True, help="Plan a round anew that is on record; the old plan is kept as history.")
@options.reason("needed to correct")
@options.site
@options.by
@options.form
@options.db
def plan(name: str, form: str, db: str, **chosen: Any) -> None:
    """Plan a gauging round, record it, and print its stops with what is due at each.

    The least contaminated wells come first, wells with floating product last; among equals the walk goes to the nearest
    well next. Only wells that stand on the first day are planned. With --correct, what is not given stays as it was.
    """
    with options.open_record(db) as net:
        planned = net.rounds.plan(name, **chosen)
    output.rows(planned.stops, form)
    for line in planned.sentences():
        output.say(line)


@command.command("sheet")
@click.argument("name", metavar="ROUND")
@options.out_folder
@click.option("--date", type=options.Day(), metavar="DATE", help="Only this day of a round of several days.")
@click.option("--page", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the PDF.")
@options.site
@options.known_on
@options.db
def sheet(name: str, db: str, **chosen: Any) -> None:
    """Make the field sheets of a round: a PDF to print and a workbook to fill in.

    Both list each well's access, measuring point, hazards, last depths, the range expected for the season, bottom and
    screen. The workbook checks what is typed and goes back in with 'gwnet load' as it is.
    """
    with options.open_record(db) as net:
        sheets = net.rounds.sheet(name, **chosen)
    output.files(sheets)
