"""Loading files by a mapping: by the rules of any other file, with the mapping kept beside the rows that it brought."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from gwnet.errors import LayoutError, NotFoundError
from gwnet.ingest.mapping.apply import Applied, apply_mapping
from gwnet.ingest.mapping.excerpts import take_rows
from gwnet.ingest.mapping.grids import SourceFile, read_source
from gwnet.ingest.mapping.mapping import Mapping, parse_mapping, read_mapping
from gwnet.ingest.mapping.propose import open_checks
from gwnet.ingest.tables.load import FileResult, LoadResult, MappedFile, describe_earlier, load, loaded_whole
from gwnet.ingest.tables.rejected import Excerpt, TakeRows
from gwnet.store.fetch import mappings as fetch
from gwnet.store.save.mappings import keep_mapping, link_sources
from gwnet.store.session import Store


@dataclass(frozen=True)
class ImportResult:
    """What an import did.

    Attributes
    ----------
    mapping : gwnet.ingest.mapping.mapping.Mapping
        The mapping.
    applied : gwnet.ingest.mapping.apply.Applied or None
        What the mapping made of the files; None where they are on record already.
    loaded : gwnet.ingest.tables.load.LoadResult
        What happened to each table.
    """

    mapping: Mapping
    applied: Applied | None
    loaded: LoadResult


def find_mapping(store: Store, name: str) -> Mapping:
    """Return a mapping: that of a file, or the one that is on record under a name.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    name : str
        Path of a TOML file, or a name.

    Returns
    -------
    gwnet.ingest.mapping.mapping.Mapping
        The mapping.

    Raises
    ------
    NotFoundError
        If there is neither.
    LayoutError
        If it is no mapping.
    """
    # By its ending as well, so that a file that is missing is not looked for on record.
    if Path(name).suffix.lower() == ".toml" or Path(name).is_file():
        return read_mapping(name)
    with store.reading() as connection:
        known = fetch.mappings(connection)
        text = fetch.mapping_text(connection, name)
    if text is None:
        message = f"There is no mapping {name!r} on record, and no such file."
        names = ", ".join(known["name"].tolist()) or "none"
        raise NotFoundError(message, fix=f"On record: {names}. A file ends in .toml.")
    return parse_mapping(text, name)


def import_files(
    store: Store,
    addresses: Sequence[str],
    mapping: Mapping,
    *,
    by: str,
    now_utc: dt.datetime | None = None,
    query: str = "",
    dry_run: bool = False,
    **options: Any,
) -> ImportResult:
    """Load files by a mapping: all of them or nothing.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    addresses : sequence of str
        Files, or the address of a database.
    by : str
        Who records.
    now_utc : datetime.datetime, optional
        Aware time that counts as what the clock says; the database's clock unless given.
    query : str, optional
        The SQL, for a database.
    dry_run : bool, optional
        Check everything and write nothing.
    **options : object
        As `gwnet.ingest.tables.load.load`.

    Returns
    -------
    ImportResult
        What happened.

    Raises
    ------
    FileRejectedError
        If rows were rejected and the good ones were not to be kept; nothing was written.
    IngestError
        If a file cannot be read, or the mapping does not fit it.
    """
    # A dry run may have open questions: it is how they are answered.
    if not dry_run:
        _refuse_open_checks(mapping)
    files = [read_source(address, query) for address in addresses]
    # A correction of the same file by the same mapping is asked for on purpose.
    known = {} if dry_run or options.get("correct") else _imported(store, files, mapping)
    if known and all(file.sha256 in known for file in files):
        results = tuple(FileResult(file.name, note=known[file.sha256]) for file in files)
        return ImportResult(mapping, None, LoadResult(results, (), written=False, dry_run=False))
    applied = apply_mapping(mapping, files)

    def keep(connection: Connection, source_ids: list[int]) -> None:
        # In the same unit of work: no row is on record without the mapping that made it.
        number = keep_mapping(connection, mapping.name, mapping.text, by=by)
        link_sources(connection, number, source_ids)

    loaded = load(
        store, _as_files(files, applied), now_utc=now_utc, by=by, dry_run=dry_run, after_recording=keep, **options
    )
    return ImportResult(mapping, applied, loaded)


def _refuse_open_checks(mapping: Mapping) -> None:
    checks = open_checks(mapping.text)
    if checks:
        lines = "1 line" if len(checks) == 1 else f"{len(checks)} lines"
        message = f"The mapping has {lines} marked CHECK: {'; '.join(checks[:5])}{' …' if len(checks) > 5 else ''}."
        fix = "Correct each line and take the mark away; --dry-run works before."
        raise LayoutError(message, where=mapping.name, fix=fix)


def _as_files(files: Sequence[SourceFile], applied: Applied) -> list[MappedFile]:
    """Return the tables of each file; what comes from the mapping alone goes with the first."""
    made = {
        file.sha256: MappedFile(Path(file.name), file.sha256, file.content, [], _excerpts(file, applied))
        for file in files
    }
    for table in applied.tables:
        for file, sheet in table.sheets:
            made[(file or files[0]).sha256].sheets.append(sheet)
    return list(made.values())


def _excerpts(file: SourceFile, applied: Applied) -> TakeRows:
    """Return what takes rows out of the tables of a file, by the name of the table."""
    tables = {table.file: table for several in applied.sources.values() for table in several}

    def take(name: str, numbers: Collection[int]) -> Excerpt | None:
        table = tables.get(name)
        return None if table is None or table.grid is None else take_rows(file, table.grid, table.start, numbers)

    return take


def _imported(store: Store, files: Sequence[SourceFile], mapping: Mapping) -> dict[str, str]:
    """Return a note on each file that is on record whole by this very mapping, by its hash."""
    whole = loaded_whole(store, [file.sha256 for file in files])
    with store.reading() as connection:
        linked = fetch.files_of_mapping(connection, mapping.name, mapping.text)
    return {sha256: describe_earlier(store, row, "imported") for sha256, row in whole.items() if row.id in linked}
