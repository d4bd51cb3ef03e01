"""``gwnet load``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, loaded, options, output


@click.command("load")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH...")
@click.option("--dry-run", is_flag=True, help="Check everything and write nothing.")
@click.option("--keep-good", is_flag=True, help="Record the good rows; write the others to files to be fixed.")
@click.option(
    "--correct",
    is_flag=True,
    help="Replace rows on record, never lost; a column that the file lacks keeps its value, an empty cell empties it.",
)
@click.option("--withdraw", is_flag=True, help="Retire the rows of the same keys without a successor.")
@options.accept
@options.reason("needed to correct, to withdraw and to accept")
@options.rejected
@options.last_line_complete
@click.option(
    "--show",
    type=click.Choice(loaded.LISTS),
    default="rejections",
    show_default=True,
    help="What --format csv or json prints: rejections, values that change, or levels that move (the last: dry run).",
)
@options.by
@options.unit
@options.form
@options.db
def command(paths: tuple[Path, ...], show: str, unit: str, form: str, db: str, **chosen: Any) -> int:
    """Load tables from files, workbooks and folders.

    All that is named lands together, or nothing does. Each table is recognised by its name or its columns. With
    --format csv or json the rejections go to standard output, all of them. A dry run of a correction or withdrawal
    shows the values that would change and the levels that would move. On a terminal a correction that makes values
    empty asks first, and so does a last line without its line end whose last cell may have been cut.
    """
    chosen["last_line_complete"] = chosen["last_line_complete"] or loaded.ask_whether_complete()
    if loaded.needs_preview(chosen):
        with options.open_record(db) as net, loaded.rejections_shown(form):
            preview = net.load(paths, **chosen | {"dry_run": True})
        # After the record is closed: nothing is held open while a person thinks about the question.
        if not loaded.is_confirmed(preview):
            return STOPPED
    with options.open_record(db) as net, loaded.rejections_shown(form), output.progress("loading") as progress:
        result = net.load(paths, progress=progress, **chosen)
    loaded.show(result, form, show, unit)
    return DONE_WITH_FINDINGS if result.rejections else DONE
