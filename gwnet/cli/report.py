"""``gwnet report``: make a report, list the issued ones, compare two."""

from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from gwnet.cli import completion, options, output


class ReportGroup(click.Group):
    """Group whose first word, where it is none of its commands, is the definition of a report to make."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the name of the command that makes reports before what is no command."""
        # 'gwnet report quarterly' is what people write; 'make' is there for a definition that is called like a command.
        if args and args[0] not in self.commands and args[0] not in ("-h", "--help"):
            args = ["make", *args]
        return super().parse_args(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands that begin so, and the definitions."""
        return [*super().shell_complete(ctx, incomplete), *completion.definitions(incomplete)]


@click.group("report", cls=ReportGroup)
def command() -> None:
    """Make a report from its definition.

    'gwnet report DEFINITION --period PERIOD --out DIR' is short for 'gwnet report make …'.
    """


@command.command("make")
@click.argument("definition", shell_complete=completion.complete_definition)
@click.option("--period", metavar="PERIOD", help="Period to report, for example 2026-Q1.")
@click.option(
    "--round",
    metavar="ROUND",
    shell_complete=completion.rounds,
    help="Report this gauging round alone; its days are the period.",
)
@click.option(
    "--days",
    multiple=True,
    type=options.Day(),
    metavar="DATE",
    help="Day that stands for a round, in place of those on record; may be given several times. Default without "
    "rounds: the days on which most wells were read.",
)
@options.out_folder
@click.option("--issue", is_flag=True, help="Issue the report: register it with every value that it prints.")
@click.option("--remark", metavar="TEXT", help="Remark for the register of issues.")
@options.by
@options.site
@options.known_on
@click.option(
    "--unit", type=click.Choice(["m", "ft"]), help="Unit of depths and elevations. Default: the definition's."
)
@click.option("--processes", type=click.IntRange(min=1), help="Processes that draw figures. Default: one a core.")
@options.db
def make(definition: str, period: str | None, out: Path, db: str, **chosen: Any) -> None:
    """Make a report.

    DEFINITION is the name of one that travels with gwnet (quarterly) or the path of a TOML file. Writes the PDF, its
    manifest and the data annex into the folder. The same record, definition and --known-on give the same bytes.
    """
    # Both would be two periods, and none is no default: a report of the wrong quarter looks like the right one.
    if (period is None) == (chosen["round"] is None):
        message = "Give either --period or --round."
        raise click.UsageError(message)
    with options.open_record(db) as net, output.progress("report") as progress:
        written = net.report(definition, period or "", out, progress=progress, **chosen)
    output.files(written)
    if written.issue is not None:
        output.say(written.describe())


@command.command("issues")
@options.site
@options.known_on
@options.form
@options.db
def issues(form: str, db: str, **chosen: Any) -> None:
    """List the issued reports: what, when, by whom, from which state of the record."""
    with options.open_record(db) as net:
        table = net.report.issues(**chosen)
    output.rows(table, form, empty="No report was issued.")


@command.command("diff")
@click.argument("first", metavar="A")
@click.argument("second", metavar="B", default="now")
@options.known_on
@options.form
@options.db
def diff(first: str, second: str, form: str, db: str, **chosen: Any) -> None:
    """List the printed values in which two issued reports differ: old, new and why.

    A and B are numbers from 'gwnet report issues', PDF files of issued reports, or the first six or more signs of
    their SHA-256. B may be the word now, and is unless given: the same report from the record as it is now.
    """
    with options.open_record(db) as net:
        table = net.report.diff(first, second, **chosen)
    output.rows(table, form, empty="No printed value differs.")
