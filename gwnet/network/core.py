"""The face of the project for programs: one open record and what can be asked of it.

`gwnet.open` gives a `Network`. The command line calls the same methods.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.errors import SettingsError
from gwnet.network.checks import Checking
from gwnet.network.gradients import Comparing
from gwnet.network.logger_files import LoggerFiles
from gwnet.network.logger_heads import LoggerHeading
from gwnet.network.loggers import Logging
from gwnet.network.maps import Mapping
from gwnet.network.reports import Reporting
from gwnet.network.review import Reviewing
from gwnet.network.rounds import Planning
from gwnet.network.seasons import Seasoning
from gwnet.network.trend_figures import TrendDrawing
from gwnet.network.trends import Trending
from gwnet.records import Selection
from gwnet.store import revision
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.codes import check_codes
from gwnet.store.session import Store, open_store
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.levels.explain import Explanation
    from gwnet.ingest.tables.load import LoadResult


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
        if revision.current(store) is None:
            revision.guard(store)
        return revision.upgrade(store)
    finally:
        store.close()


class Network(
    Mapping,
    Comparing,
    Reviewing,
    Planning,
    Checking,
    Trending,
    Reporting,
    Seasoning,
    Logging,
    LoggerHeading,
    LoggerFiles,
    TrendDrawing,
):
    """An open groundwater record.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL or path of an SQLite file; its schema must be current.

    Raises
    ------
    StoreError
        If the database does not exist or holds no gwnet record.
    SchemaBehindError, SchemaAheadError
        If it was made by another version of the program.
    """

    def __init__(self, address: str | Path) -> None:
        self.store: Store = open_store(address)
        try:
            revision.guard(self.store)
        except BaseException:
            self.store.close()
            raise

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
        rejected_dir: str | Path | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> LoadResult:
        """Load tables from files and folders: all of them or nothing.

        Parameters
        ----------
        paths : sequence of path
            CSV files, workbooks and folders.
        by : str
            Who loads them.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.
        dry_run : bool, optional
            Whether to check only and write nothing.
        keep_good : bool, optional
            Whether to record the good rows when others are rejected.
        correct, withdraw : bool, optional
            Whether rows already on record are replaced, or retired without a successor.
        reason : str, optional
            Why; needed for both.
        rejected_dir : path, optional
            Folder for the rejected rows of ``keep_good``; the current one unless given.
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
        from gwnet.ingest.tables.load import load

        watch = self._watch() if dry_run else None
        result = load(
            self.store,
            [Path(path) for path in paths],
            now_utc=now_utc or dt.datetime.now(dt.UTC),
            by=by,
            dry_run=dry_run,
            keep_good=keep_good,
            correct=correct,
            withdraw=withdraw,
            reason=reason,
            rejected_dir=None if rejected_dir is None else Path(rejected_dir),
            progress=progress,
            watch=watch,
        )
        return result if watch is None else replace(result, moved=watch.moved)

    def sites(self, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return the sites; see `gwnet.store.fetch.registry.sites`."""
        with self.store.reading() as connection:
            return fetch.sites(connection, known_on)

    def wells(self, site: str | None = None, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return the wells; see `gwnet.store.fetch.registry.wells`."""
        with self.store.reading() as connection:
            self._check_site(connection, site, known_on)
            return fetch.wells(connection, known_on, site)

    def rounds(self, site: str | None = None, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return the gauging rounds; see `gwnet.store.fetch.programme.rounds`."""
        with self.store.reading() as connection:
            self._check_site(connection, site, known_on)
            return fetch_programme.rounds(connection, known_on, site)

    def levels(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        aquifer: str | None = None,
        round: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        loggers: str = "none",
    ) -> pd.DataFrame:
        """Return reduced levels, one row an event.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        site, aquifer, round : str, optional
            Codes.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of depths and elevations: m (columns end in ``_m``) or ft (``_ft``).
        loggers : {"none", "round", "daily"}, optional
            Whether rows of loggers stand among them: heads at the moment of each round, or daily means.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.levels.table.levels`; rows of loggers as `gwnet.analysis.loggers.levels.add_loggers`.

        Raises
        ------
        NotFoundError
            If a site, well, aquifer or round is not on record.
        SettingsError
            If loggers are asked for in another way.
        """
        from gwnet.analysis.levels.table import levels
        from gwnet.analysis.loggers.levels import add_loggers

        with self.store.reading() as connection:
            self._check_codes(connection, known_on, site=site, wells=wells, aquifer=aquifer, round_code=round)
            record = Snapshot(connection, known_on, site)
            chosen = Selection.of(wells, aquifer=aquifer, round=round)
            table = add_loggers(record, levels(record, chosen), chosen, loggers)
        return in_unit(_between(table, start, end), unit)

    def explain(
        self,
        well: str,
        time: str,
        *,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> list[Explanation]:
        """Explain the levels of a well at a time; see `gwnet.analysis.loggers.explain.explain_level`."""
        from gwnet.analysis.loggers.explain import explain_level

        with self.store.reading() as connection:
            self._check_codes(connection, known_on, site=site, wells=[well])
            return explain_level(Snapshot(connection, known_on, site), well, time, unit=unit)

    def hydrograph(
        self,
        wells: Sequence[str],
        *,
        site: str | None = None,
        start: dt.date | None = None,
        end: dt.date | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        loggers: bool = True,
    ) -> Figure:
        """Draw the hydrograph of one or more wells; several share one vertical span.

        Parameters
        ----------
        wells : sequence of str
            Codes of wells of one site.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        start, end : datetime.date, optional
            First and last local date; the whole record unless given.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the axes, m or ft.
        loggers : bool, optional
            Whether the heads of loggers are drawn under the manual readings.

        Returns
        -------
        matplotlib.figure.Figure
            The figure; `save_figure` writes it.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        """
        from gwnet.products.hydrographs import hydrograph_figure

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(wells=wells)
            return hydrograph_figure(
                record, list(dict.fromkeys(wells)), start=start, end=end, unit=unit, loggers=loggers
            )

    def coverage_figure(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        start: dt.date | None = None,
        end: dt.date | None = None,
        loggers_only: bool = False,
        known_on: dt.datetime | None = None,
    ) -> Figure:
        """Draw who has data when: a row a logger and well, bars where there are samples, manual readings as ticks.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells of one site; all unless given. Barometers stay.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        start, end : datetime.date, optional
            First and last local date; from the first logger on unless given.
        loggers_only : bool, optional
            Whether wells in which no logger hung are left out.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        matplotlib.figure.Figure
            The figure; `save_figure` writes it.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        """
        from gwnet.products.hydrographs import coverage_figure

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            record.require(wells=wells)
            return coverage_figure(record, wells, start=start, end=end, loggers_only=loggers_only)

    @staticmethod
    def save_figure(figure: Figure, path: str | Path) -> Path:
        """Write a figure as PNG, PDF or SVG, as the file's ending says; see `gwnet.figures.base.style.save`."""
        from gwnet.figures.base.style import save

        return save(figure, Path(path))

    def newest_recording(self) -> dt.datetime | None:
        """Return when the record last changed."""
        with self.store.reading() as connection:
            return fetch.newest_recording(connection)

    @staticmethod
    def _check_site(connection: Any, site: str | None, known_on: dt.datetime | None) -> None:
        if site is not None:
            fetch.one_site(connection, site, known_on)

    _check_codes = staticmethod(check_codes)


def _between(
    table: pd.DataFrame, start: dt.date | dt.datetime | str | None, end: dt.date | dt.datetime | str | None
) -> pd.DataFrame:
    """Keep the events from start to end; dates are local and both included."""
    keep = pd.Series(data=True, index=table.index)
    for moment, is_start in ((start, True), (end, False)):
        if moment is None:
            continue
        if isinstance(moment, str):
            moment = _parsed(moment)
        if isinstance(moment, dt.datetime):
            if moment.tzinfo is None:
                message = f"The time {moment.isoformat()} has no zone."
                raise SettingsError(message, fix="Give a date, or a time with an offset.")
            compared = table["measured_at_utc"]
            keep &= compared >= moment if is_start else compared <= moment
        else:
            keep &= table["day"] >= pd.Timestamp(moment) if is_start else table["day"] <= pd.Timestamp(moment)
    return table[keep].reset_index(drop=True)


def _parsed(text: str) -> dt.date | dt.datetime:
    try:
        return dt.date.fromisoformat(text) if len(text) <= 10 else dt.datetime.fromisoformat(text)
    except ValueError:
        message = f"Not a date or time: {text!r}."
        raise SettingsError(message, fix="Write YYYY-MM-DD, or YYYY-MM-DDTHH:MM with an offset.") from None
