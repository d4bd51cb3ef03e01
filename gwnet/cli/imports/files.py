"""``gwnet import FILE…``."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, loaded, options, output
from gwnet.cli.imports import shown

if TYPE_CHECKING:
    from gwnet.ingest.mapping.apply import Applied
    from gwnet.ingest.tables.load import LoadResult
    from gwnet.network import Network


@click.command("files")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option(
    "--mapping",
    metavar="MAPPING",
    help="TOML file, or the name of a mapping on record; needed but for WaterML 2.0.",
)
@click.option("--query", default="", metavar="SQL", help="What to read, where FILE is the address of a database.")
@click.option("--dry-run", is_flag=True, help="Show columns, first values, what is unused and missing; write nothing.")
@click.option("--keep-good", is_flag=True, help="Record the good rows; write the others to files to be fixed.")
@click.option("--correct", is_flag=True, help="Replace rows on record, never lost.")
@options.accept
@options.reason("needed to correct and to accept")
@options.rejected
@options.last_line_complete
@options.by
@options.site
@options.unit
@options.form
@options.db
def command(
    paths: tuple[str, ...], mapping: str | None, site: str | None, unit: str, form: str, db: str, **chosen: Any
) -> int:
    """Load files by a mapping, or levels of WaterML 2.0.

    The rows go the way of any loaded table: the same rules, all or nothing. Rejections name file, line and column of
    the source. FILE may be delimited or fixed text, a workbook, ODS, GeoPackage, Parquet, or the SQLAlchemy address of
    a database. The rejected rows of --keep-good are written as they are in their file, to be fixed and imported by
    the same mapping, and their problems to a file beside them. WaterML 2.0 (.xml) needs no mapping; --site is for wells
    of documents that name no site.
    """
    chosen["last_line_complete"] = chosen["last_line_complete"] or loaded.ask_whether_complete()
    load = _loader(paths, mapping, site, chosen)
    if loaded.needs_preview(chosen):
        with options.open_record(db) as net, loaded.rejections_shown(form):
            # A person is asked before anything is written, and the record is closed while they think.
            preview, _ = load(net, chosen | {"dry_run": True})
        if not loaded.is_confirmed(preview):
            return STOPPED
    with options.open_record(db) as net, loaded.rejections_shown(form), output.progress("importing") as progress:
        result, applied = load(net, chosen | {"progress": progress})
    if applied is not None:
        shown.show_applied(applied, form, whole=chosen["dry_run"])
    loaded.show(result, form, unit=unit)
    return DONE_WITH_FINDINGS if result.rejections else DONE


#: Loads files into a record with options; gives what happened, and what a mapping made of the files.
_Load = Callable[["Network", dict[str, Any]], "tuple[LoadResult, Applied | None]"]


def _loader(paths: tuple[str, ...], mapping: str | None, site: str | None, chosen: dict[str, Any]) -> _Load:
    """Return how files are loaded: by their mapping, or as WaterML."""
    from gwnet.ingest.waterml import is_waterml

    if mapping is not None:
        if site is not None:
            raise click.UsageError("A mapping says of which site the rows are: leave out --site.")
        return lambda net, given: _by_mapping(net, paths, mapping, given)
    # WaterML says itself what its values are; every other file needs a mapping.
    if not all(map(is_waterml, paths)):
        raise click.UsageError("Missing option '--mapping': only WaterML 2.0 (.xml) is read without one.")
    if chosen["query"]:
        raise click.UsageError("--query is for databases.")
    return lambda net, given: (net.imports.waterml(list(paths), site=site, **_of_waterml(given)), None)


def _by_mapping(
    net: Network, paths: tuple[str, ...], mapping: str, given: dict[str, Any]
) -> tuple[LoadResult, Applied | None]:
    result = net.imports.load(list(paths), mapping=mapping, **given)
    return result.loaded, result.applied


def _of_waterml(given: dict[str, Any]) -> dict[str, Any]:
    """Return the options that documents take: they have no last line that may be cut."""
    return {name: value for name, value in given.items() if name not in ("query", "last_line_complete")}
