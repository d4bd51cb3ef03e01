"""Loading levels from WaterML 2.0 documents: by the rules of any other file, the document kept beside its rows."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from gwnet.errors import SettingsError
from gwnet.ingest.readers import read_bytes
from gwnet.ingest.readers.waterml import HEADINGS, read_waterml
from gwnet.ingest.tables.load import FileResult, LoadResult, MappedFile, describe_earlier, load, loaded_whole
from gwnet.ingest.tables.raw import RawSheet
from gwnet.store.fetch.registry import sites
from gwnet.store.session import Store

#: Endings of documents that are read without a mapping.
ENDINGS = (".xml", ".wml", ".gml")


def is_waterml(path: str) -> bool:
    """Return whether the name of a file is that of an XML document."""
    return Path(path).suffix.lower() in ENDINGS


def import_waterml(
    store: Store,
    paths: Sequence[str],
    *,
    by: str,
    site: str | None = None,
    now_utc: dt.datetime | None = None,
    dry_run: bool = False,
    **options: Any,
) -> LoadResult:
    """Load the levels of documents: all of them or nothing.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database; wells and measuring points are on record.
    paths : sequence of str
        Documents.
    by : str
        Who records.
    site : str, optional
        Site of the wells of documents that name none; the only one on record unless given.
    now_utc : datetime.datetime, optional
        Aware time that counts as what the clock says; the database's clock unless given.
    dry_run : bool, optional
        Check everything and write nothing.
    **options : object
        As `gwnet.ingest.tables.load.load`.

    Returns
    -------
    gwnet.ingest.tables.load.LoadResult
        What happened.

    Raises
    ------
    FileRejectedError
        If rows were rejected and the good ones were not to be kept; nothing was written.
    IngestError
        If a file is no WaterML 2.0.
    SettingsError
        If a document names no site, there are several on record, and none is given.
    """
    contents = [(Path(path), read_bytes(Path(path))) for path in paths]
    hashes = [hashlib.sha256(content).hexdigest() for _, content in contents]
    known = {} if dry_run or options.get("correct") else loaded_whole(store, hashes)
    notes, files = [], []
    for (path, content), sha256 in zip(contents, hashes, strict=True):
        if sha256 in known:
            notes.append(FileResult(path.name, note=describe_earlier(store, known[sha256], "imported")))
            continue
        sheet = _of_site(store, read_waterml(path.name, content), site)
        files.append(MappedFile(path, sha256, content, [sheet]))
    if not files:
        return LoadResult(tuple(notes), (), written=False, dry_run=dry_run)
    loaded = load(store, files, by=by, now_utc=now_utc, dry_run=dry_run, **options)
    return replace(loaded, files=(*notes, *loaded.files))


def _of_site(store: Store, sheet: RawSheet, site: str | None) -> RawSheet:
    """Return a sheet with the site in the rows of a document that names none."""
    place = HEADINGS.index("site")
    if all(row[place] for row in sheet.rows):
        return sheet
    if site is None:
        with store.reading() as connection:
            codes = sites(connection)["site"].tolist()
        if len(codes) != 1:
            message = f"The document names no site of ours, and {len(codes)} sites are on record."
            raise SettingsError(message, where=sheet.file, fix="Say of which site its wells are with --site.")
        (site,) = codes
    rows = [[*row[:place], row[place] or site, *row[place + 1 :]] for row in sheet.rows]
    return replace(sheet, rows=rows)
