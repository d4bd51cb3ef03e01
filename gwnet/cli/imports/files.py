"""``gwnet import FILE…``."""

from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, loaded, options, output
from gwnet.cli.imports import shown


@click.command("files")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option("--mapping", required=True, metavar="MAPPING", help="TOML file, or the name of a mapping on record.")
@click.option("--query", default="", metavar="SQL", help="What to read, where FILE is the address of a database.")
@click.option("--dry-run", is_flag=True, help="Show columns, first values, what is unused and missing; write nothing.")
@click.option("--keep-good", is_flag=True, help="Record the good rows; write the others to files to be fixed.")
@click.option("--correct", is_flag=True, help="Replace rows on record, never lost.")
@options.accept
@options.reason("needed to correct and to accept")
@options.rejected
@options.last_line_complete
@options.by
@options.unit
@options.form
@options.db
def command(paths: tuple[str, ...], unit: str, form: str, db: str, **chosen: Any) -> int:
    """Load files by a mapping.

    The rows go the way of any loaded table: the same rules, all or nothing. Rejections name file, line and column of
    the source. FILE may be delimited or fixed text, a workbook, ODS, GeoPackage, Parquet, or the SQLAlchemy address of
    a database. The rejected rows of --keep-good are written as they are in their file, to be fixed and imported by
    the same mapping, and their problems to a file beside them.
    """
    chosen["last_line_complete"] = chosen["last_line_complete"] or loaded.ask_whether_complete()
    if loaded.needs_preview(chosen):
        with options.open_record(db) as net, loaded.rejections_shown(form):
            preview = net.imports.load(list(paths), **chosen | {"dry_run": True})
        if not loaded.is_confirmed(preview.loaded):
            return STOPPED
    with options.open_record(db) as net, loaded.rejections_shown(form), output.progress("importing") as progress:
        result = net.imports.load(list(paths), progress=progress, **chosen)
    if result.applied is not None:
        shown.show_applied(result.applied, form, whole=chosen["dry_run"])
    loaded.show(result.loaded, form, unit=unit)
    return DONE_WITH_FINDINGS if result.loaded.rejections else DONE
