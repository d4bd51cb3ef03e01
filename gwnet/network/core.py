"""An open record: `gwnet.open` returns a `Network`, and the command line calls the same methods."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.network.base import Group, Instant, Moment, codes_of, day_of
from gwnet.network.checks import Checks
from gwnet.network.exports import Exports
from gwnet.network.gradients import Gradients
from gwnet.network.imports import Imports
from gwnet.network.levels import Levels
from gwnet.network.loggers import Loggers
from gwnet.network.maps import Maps
from gwnet.network.pumping import Pumping
from gwnet.network.reports import Reports
from gwnet.network.review import Review
from gwnet.network.rounds import Rounds
from gwnet.network.seasons import Seasons
from gwnet.network.tables import Sources, Tables
from gwnet.network.thresholds import Thresholds
from gwnet.network.trends import Trends
from gwnet.network.wells import WellsOnRecord
from gwnet.records import RecordState
from gwnet.store import revision
from gwnet.store.fetch.levels import extent
from gwnet.store.fetch.states import state_at, states
from gwnet.store.integrity import guards
from gwnet.store.save.packs import renew_packs
from gwnet.store.session import Store, open_store
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.ingest.tables.load import LoadResult
    from gwnet.records import Rejection
    from gwnet.store.backup import Copied
    from gwnet.store.integrity.examine import Examination


def init(address: str | Path) -> tuple[str | None, str]:
    """Make a database, or bring an older one up to date.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file.

    Returns
    -------
    tuple of str
        Revision before (None when there was none) and after.

    Raises
    ------
    StoreError
        If the database cannot be made or holds something else.
    """
    store = open_store(address, create=True)
    try:
        return revision.upgrade(store)
    finally:
        store.close()


def upgrade(address: str | Path) -> tuple[str | None, str]:
    """Bring an existing database up to date.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file.

    Returns
    -------
    tuple of str
        Revision before and after.

    Raises
    ------
    StoreError
        If there is no such database, or it holds no gwnet record.
    SchemaAheadError
        If it was made by a newer version.
    """
    store = open_store(address)
    try:
        # A database of somebody else is refused, not made into a record.
        if revision.current(store) is None:
            revision.guard(store)
        return revision.upgrade(store)
    finally:
        store.close()


def doctor(address: str | Path, progress: Callable[[int, int], None] | None = None) -> Examination:
    """Examine a database, which may be damaged or of another revision; nothing is written.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file.
    progress : callable, optional
        Called with checks done and checks in all.

    Returns
    -------
    gwnet.store.integrity.examine.Examination
        What was checked and what does not fit.

    Raises
    ------
    StoreError
        If there is no such database.
    """
    from gwnet.store.integrity.examine import examine

    store = open_store(address)
    try:
        return examine(store, progress)
    finally:
        store.close()


def renew(address: str | Path) -> tuple[int, ...]:
    """Make the triggers of all tables anew, and the packs of series that do not hold what their samples hold.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file.

    Returns
    -------
    tuple of int
        Series whose packs were made anew.

    Raises
    ------
    StoreError
        If there is no such database, or it cannot be written.
    """
    store = open_store(address)
    try:
        # Triggers of another revision would be made for tables that are not there.
        revision.guard(store)
        # Under the write lock, so that nothing is recorded while a table has no triggers.
        with store.altering() as connection:
            guards.renew_guards(connection)
            return renew_packs(connection)
    finally:
        store.close()


class Network(Group):
    """An open groundwater record; its methods are grouped by subject.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file; its schema must be current.
    say : callable, optional
        Takes sentences for the person who waits until another program has written.

    Attributes
    ----------
    store : gwnet.store.session.Store
        The open database.
    wells, tables, sources, levels, imports, trends, seasons, thresholds, map, gradients, pumping : object
        Groups of methods; each one prints what it offers.
    loggers, rounds, checks, review, report, export : object
        Likewise.

    Raises
    ------
    StoreError
        If the database does not exist or holds no gwnet record.
    SchemaBehindError, SchemaAheadError
        If it was made by another version of the program.
    """

    def __init__(self, address: str | Path, *, say: Callable[[str], None] | None = None) -> None:
        super().__init__(open_store(address, say=say))
        self.store: Store = self._store
        try:
            revision.guard(self.store)
        # On an interrupt, too: nobody else holds the store to close it.
        except BaseException:
            self.store.close()
            raise
        self.wells = WellsOnRecord(self.store)
        self.tables = Tables(self.store)
        self.sources = Sources(self.store)
        self.levels = Levels(self.store)
        self.imports = Imports(self.store)
        self.trends = Trends(self.store)
        self.seasons = Seasons(self.store)
        self.thresholds = Thresholds(self.store)
        self.map = Maps(self.store)
        self.gradients = Gradients(self.store)
        self.pumping = Pumping(self.store)
        self.loggers = Loggers(self.store)
        self.rounds = Rounds(self.store)
        self.checks = Checks(self.store)
        self.review = Review(self.store)
        self.report = Reports(self.store)
        self.export = Exports(self.store)

    def __repr__(self) -> str:
        """Return what is on record: sites, wells, levels with their span, and when it last changed."""
        with self.store.reading() as connection:
            record = Snapshot(connection)
            sites, wells = record.sites["site"].tolist(), len(record.wells)
            # Counted by the database: printing a network must not reduce a million levels.
            levels, first, last = extent(connection)
            newest = record.state
        span = f", {first:%Y-%m-%d} to {last:%Y-%m-%d}" if first and last else ""
        lines = [
            f"Groundwater record {self.store.name}",
            f"  sites   {', '.join(sites) or 'none'}",
            f"  wells   {wells:,}",
            f"  levels  {levels:,}{span}",
            f"  known on  {f'{newest.text}' if newest else 'none'}",
            "  ask for  wells, levels, hydrograph, trends, seasons, map, gradients, loggers, rounds, checks, …",
        ]
        return "\n".join(lines)

    def __enter__(self) -> Network:
        """Return the network itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self.close()

    def close(self) -> None:
        """Close the database."""
        self.store.close()

    def load(
        self,
        paths: Sequence[str | Path],
        *,
        by: str,
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
        keep_good: bool = False,
        correct: bool = False,
        withdraw: bool = False,
        reason: str | None = None,
        accept: Sequence[str] = (),
        rejected_dir: str | Path | None = None,
        last_line_complete: bool | Callable[[Rejection], bool] = False,
        progress: Callable[[int, int], None] | None = None,
    ) -> LoadResult:
        """Load tables from files and folders: all of them or nothing.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        paths : sequence of path
            CSV files, workbooks and folders.
        keep_good : bool, optional
            Whether to record the good rows when others are rejected.
        correct, withdraw : bool, optional
            Whether rows already on record are replaced, or retired without a successor; both need a reason.
        accept : sequence of str, optional
            Problems of rows that do not stop them from being recorded, such as ``wrong-sign``; needs a reason.
        rejected_dir : path, optional
            Folder for the rejected rows of ``keep_good``; the current one unless given.
        last_line_complete : bool or callable, optional
            Whether a last line without its line end is complete where its last cell may have been cut; or a function
            that is asked, with the rejection that it would be.
        progress : callable, optional
            Called with rows done and rows in all.

        Returns
        -------
        gwnet.ingest.tables.load.LoadResult
            What happened to each file.

        Raises
        ------
        FileRejectedError
            If rows were rejected and nothing was written.
        IngestError
            If a file cannot be read or recognised.
        """
        from gwnet.analysis.review.effects import Watch
        from gwnet.ingest.tables.load import load

        return load(
            self.store,
            [Path(path) for path in paths],
            now_utc=now_utc,
            by=by,
            dry_run=dry_run,
            keep_good=keep_good,
            correct=correct,
            withdraw=withdraw,
            reason=reason,
            accept=accept,
            rejected_dir=None if rejected_dir is None else Path(rejected_dir),
            last_line_complete=last_line_complete,
            progress=progress,
            # Handed in: what a dry run would move is worked out by the analysis, which loading knows nothing of.
            watch=Watch(),
        )

    def backup(
        self, path: str | Path, *, replace: bool = False, progress: Callable[[int, int], None] | None = None
    ) -> Copied:
        """Copy the record, which may be in use, into a file and verify the copy.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        path : str or pathlib.Path
            SQLite file to make, whichever database the record is in.
        replace : bool, optional
            Whether a file that is there may be replaced.
        progress : callable, optional
            Called with steps done and steps in all.

        Returns
        -------
        gwnet.store.backup.Copied
            What was copied and verified.

        Raises
        ------
        OutputError
            If the file is there already, or cannot be written.
        StoreError
            If the record is damaged, or the copy is another; no file is made then.
        """
        from gwnet.store.backup import make_backup

        return make_backup(self.store, Path(path), replace=replace, progress=progress)

    @staticmethod
    def restore(path: str | Path, address: str | Path, *, progress: Callable[[int, int], None] | None = None) -> Copied:
        """Make a record from a backup or archive, with both times of every row, and verify it.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        path : str or pathlib.Path
            The backup, or an archive of `net.export("everything", …)`.
        address : str or pathlib.Path
            SQLAlchemy URL or path of an SQLite file: a new one, or a database that holds nothing yet.
        progress : callable, optional
            Called with steps done and steps in all.

        Returns
        -------
        gwnet.store.backup.Copied
            What was copied and verified.

        Raises
        ------
        StoreError
            If the backup is damaged, or there is a record at the address already; nothing is stored then.
        """
        from gwnet.exchange.everything import opened_archive
        from gwnet.store.backup import restore_backup

        # A plain backup comes through as it is; an archive is unpacked and held against its digest first.
        with opened_archive(Path(path)) as backup:
            return restore_backup(backup, address, progress=progress)

    def sites(self, known_on: Instant = None) -> pd.DataFrame:
        """Return the sites; see `gwnet.store.fetch.registry.sites`."""
        with self._record(None, known_on) as record:
            return record.sites

    def hydrograph(
        self,
        wells: Sequence[str],
        *,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        loggers: bool = True,
    ) -> Figure:
        """Draw the hydrograph of one or more wells; several share one vertical span.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        wells : sequence of str
            Codes of wells of one site.
        loggers : bool, optional
            Whether the heads of loggers are drawn under the manual readings.

        Returns
        -------
        matplotlib.figure.Figure
            The figure; `save_figure` writes it.
        """
        from gwnet.products.hydrographs import hydrograph_figure

        codes = codes_of(wells) or []
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            return hydrograph_figure(record, codes, start=day_of(start), end=day_of(end), unit=unit, loggers=loggers)

    @staticmethod
    def save_figure(figure: Figure, path: str | Path) -> Path:
        """Write a figure as PNG, PDF or SVG, as the file's ending says; see `gwnet.figures.base.style.save`."""
        from gwnet.figures.base.style import save

        return save(figure, Path(path))

    def state(self, known_on: Instant = None) -> RecordState | None:
        """Return the state of the record that a question is about; None for a record on which nothing is.

        Parameters as `gwnet.network`.
        """
        with self._record(None, known_on) as record:
            return record.state

    def states(self, known_on: Instant = None) -> pd.DataFrame:
        """Return the states of the record; see `gwnet.store.fetch.states.states`."""
        with self._record(None, known_on) as record:
            return states(record.connection, record.known_on)

    def doctor(self, progress: Callable[[int, int], None] | None = None) -> Examination:
        """Examine the record: file, schema, triggers, states, rows, samples; see `gwnet.network.doctor`."""
        from gwnet.store.integrity.examine import examine

        return examine(self.store, progress)

    def accept_clock(self, *, by: str, reason: str, now_utc: dt.datetime | None = None) -> RecordState:
        """Record that the record is ahead of the clock, and go on after its newest state.

        Parameters as `gwnet.network`.

        Returns
        -------
        gwnet.records.RecordState
            The state that says so.

        Raises
        ------
        SettingsError
            If the reason is missing, or the clock is not behind the record.
        """
        from gwnet.store.work import accept_clock

        return accept_clock(self.store, by=by, reason=reason, now_utc=now_utc)

    def newest_recording(self) -> dt.datetime | None:
        """Return when the record last changed."""
        with self.store.reading() as connection:
            newest = state_at(connection)
            return None if newest is None else newest.recorded_at_utc
