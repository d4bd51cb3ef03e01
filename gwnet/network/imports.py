"""Importing other people's tables by a mapping."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gwnet.network.base import Group
from gwnet.store.fetch import mappings as fetch

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.ingest.mapping.load import ImportResult
    from gwnet.ingest.mapping.trial import Trial
    from gwnet.ingest.tables.load import LoadResult
    from gwnet.records import Rejection


class Imports(Group):
    """Import of other people's tables: try files, load them by a mapping, list the mappings on record."""

    _path = "imports"

    @staticmethod
    def try_files(
        paths: Sequence[str | Path],
        *,
        mapping: str | Path | None = None,
        query: str = "",
        site: str = "",
        zone: str = "",
        crs: str = "",
        datum: str = "",
        unit: str = "",
    ) -> Trial:
        """Look at files with a mapping, or propose one; see `gwnet.ingest.mapping.trial.try_files`.

        Parameters
        ----------
        paths : sequence of path
            Files that belong together, or the address of a database.
        mapping : path, optional
            A mapping; one is proposed unless given.
        query : str, optional
            The SQL, for a database.
        site, zone, crs, datum, unit : str, optional
            What is known of the site, for a proposal: code, time zone, coordinate system, vertical datum, unit.

        Returns
        -------
        gwnet.ingest.mapping.trial.Trial
            The mapping and what the files would give.

        Raises
        ------
        SettingsError
            If a file is an XML document: WaterML is read without a mapping.
        """
        from gwnet.errors import SettingsError
        from gwnet.ingest.mapping.propose import Known
        from gwnet.ingest.mapping.trial import try_files
        from gwnet.ingest.waterml import is_waterml

        for document in (str(path) for path in paths if is_waterml(str(path))):
            message = f"{document}: a WaterML document needs no mapping."
            raise SettingsError(message, fix=f"Look at what it gives with 'gwnet import {document} --dry-run'.")
        # The clock is read here alone; below, the time is handed down, so that a trial can be tested.
        known = Known(site, zone, crs, datum, unit, dt.datetime.now(dt.UTC))
        return try_files([str(path) for path in paths], mapping=mapping, query=query, known=known)

    def load(
        self,
        paths: Sequence[str | Path],
        *,
        mapping: str | Path,
        by: str,
        query: str = "",
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
        keep_good: bool = False,
        correct: bool = False,
        reason: str | None = None,
        accept: Sequence[str] = (),
        rejected_dir: str | Path | None = None,
        last_line_complete: bool | Callable[[Rejection], bool] = False,
        progress: Callable[[int, int], None] | None = None,
    ) -> ImportResult:
        """Load files by a mapping: all of them or nothing.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        paths : sequence of path
            Files, or the address of a database.
        mapping : path or str
            A TOML file, or the name of a mapping on record.
        query : str, optional
            The SQL, for a database.
        keep_good : bool, optional
            Whether to record the good rows when others are rejected.
        correct : bool, optional
            Whether rows already on record are replaced; needs a reason.
        accept : sequence of str, optional
            Problems of rows that do not stop them from being recorded, such as ``wrong-sign``; needs a reason.
        rejected_dir : path, optional
            Folder for the rejected rows of ``keep_good``, as they are in their files, and for their problems; the
            current one unless given.
        last_line_complete : bool or callable, optional
            Whether a last line without its line end is complete where its last cell may have been cut; or a function
            that is asked, with the rejection that it would be.
        progress : callable, optional
            Called with rows done and rows in all.

        Returns
        -------
        gwnet.ingest.mapping.load.ImportResult
            What happened to each table.

        Raises
        ------
        FileRejectedError
            If rows were rejected and nothing was written.
        IngestError
            If a file cannot be read, or the mapping does not fit it.
        """
        from gwnet.analysis.review.effects import Watch
        from gwnet.ingest.mapping.load import find_mapping, import_files

        return import_files(
            self._store,
            [str(path) for path in paths],
            find_mapping(self._store, str(mapping)),
            now_utc=now_utc,
            by=by,
            query=query,
            dry_run=dry_run,
            keep_good=keep_good,
            correct=correct,
            reason=reason,
            accept=accept,
            rejected_dir=None if rejected_dir is None else Path(rejected_dir),
            last_line_complete=last_line_complete,
            progress=progress,
            watch=Watch(),
        )

    def waterml(
        self,
        paths: Sequence[str | Path],
        *,
        by: str,
        site: str | None = None,
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
        keep_good: bool = False,
        correct: bool = False,
        reason: str | None = None,
        accept: Sequence[str] = (),
        rejected_dir: str | Path | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> LoadResult:
        """Load the levels of WaterML 2.0 documents: all of them or nothing.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        paths : sequence of path
            Documents.
        keep_good : bool, optional
            Whether to record the good rows when others are rejected.
        correct : bool, optional
            Whether rows already on record are replaced; needs a reason.
        accept : sequence of str, optional
            As of `load`.
        rejected_dir : path, optional
            Folder for the rejected rows of ``keep_good``; the current one unless given.
        progress : callable, optional
            Called with rows done and rows in all.

        Returns
        -------
        gwnet.ingest.tables.load.LoadResult
            What happened.

        Raises
        ------
        FileRejectedError
            If rows were rejected and nothing was written.
        IngestError
            If a file is no WaterML 2.0.
        """
        from gwnet.analysis.review.effects import Watch
        from gwnet.ingest.waterml import import_waterml

        return import_waterml(
            self._store,
            [str(path) for path in paths],
            site=site,
            now_utc=now_utc,
            by=by,
            dry_run=dry_run,
            keep_good=keep_good,
            correct=correct,
            reason=reason,
            accept=accept,
            rejected_dir=None if rejected_dir is None else Path(rejected_dir),
            progress=progress,
            watch=Watch(),
        )

    def mappings(self) -> pd.DataFrame:
        """Return the mappings on record; see `gwnet.store.fetch.mappings.mappings`."""
        with self._store.reading() as connection:
            return fetch.mappings(connection)
