"""``gwnet import FILE…``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, loaded, options, output
from gwnet.cli.imports import shown


@click.command("files")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option("--mapping", required=True, metavar="MAPPING", help="TOML file, or the name of a mapping on record.")
@click.option("--query", default="", metavar="SQL", help="What to read, where FILE is the address of a database.")
@click.option("--dry-run", is_flag=True, help="Show columns, first values, what is unused and missing; write nothing.")
@click.option("--keep-good", is_flag=True, help="Record the good rows; write the others to files to be fixed.")
@click.option("--correct", is_flag=True, help="Replace rows on record, never lost.")
@options.reason("needed to correct")
@click.option(
    "--rejected",
    "rejected_dir",
    type=click.Path(file_okay=False, exists=True, path_type=Path),
    metavar="DIR",
    help="Folder for the rejected rows of --keep-good. Default: the current one.",
)
@options.last_line_complete
@options.by
@options.form
@options.db
def command(paths: tuple[str, ...], form: str, db: str, **chosen: Any) -> int:
    """Load files by a mapping.

    The rows go the way of any loaded table: the same rules, all or nothing. Rejections name file, line and column of
    the source. FILE may be delimited or fixed text, a workbook, ODS, GeoPackage, Parquet, or the SQLAlchemy address of
    a database.
    """
    chosen["last_line_complete"] = chosen["last_line_complete"] or loaded.ask_whether_complete()
    with options.open_record(db) as net, loaded.rejections_shown(form), output.progress("importing") as progress:
        result = net.imports.load(list(paths), progress=progress, **chosen)
    if result.applied is not None:
        shown.show_applied(result.applied, form, whole=chosen["dry_run"])
    loaded.show(result.loaded, form)
    return DONE_WITH_FINDINGS if result.loaded.rejections else DONE
