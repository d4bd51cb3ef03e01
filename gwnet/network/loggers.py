"""The part of the face for programs that loads the files of loggers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from gwnet.ingest.loggers.layout import Layout
    from gwnet.ingest.loggers.result import LoggersResult
    from gwnet.ingest.loggers.withdraw import Withdrawn
    from gwnet.store.session import Store


class Logging:
    """Loading of loggers; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def load_loggers(
        self,
        paths: Sequence[str | Path],
        layout: str | Path | Layout = "auto",
        *,
        instrument: str | None = None,
        quantity: str | None = None,
        zone: str | None = None,
        only: str | None = None,
        by: str,
        now_utc: dt.datetime | None = None,
        progress: Callable[[int, int], None] | None = None,
        say: Callable[[str], None] | None = None,
    ) -> LoggersResult:
        """Load files of loggers, each whole or nothing of it.

        Parameters
        ----------
        paths : sequence of str or pathlib.Path
            The files; of several, each lands by itself.
        layout : str, pathlib.Path or Layout, optional
            Layout, its name, or its TOML file; ``auto`` for what looking at each file proposes.
        instrument : str, optional
            Code of the instrument; found by the serial number in the file unless given.
        quantity : str, optional
            Read this quantity alone; a single column of values is taken to be this.
        zone : str, optional
            Zone of the times, where neither the layout nor the file says one.
        only : str, optional
            Which well or instrument to read, where the file has a column that says it.
        by : str
            Who records.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.
        progress : callable, optional
            Called with lines done and lines in all.
        say : callable, optional
            Called with what was decided without being asked.

        Returns
        -------
        gwnet.ingest.loggers.result.LoggersResult
            What happened to each file; those that were refused carry their error.

        Raises
        ------
        LayoutError
            If there is no such layout, or it is wrong.
        SettingsError
            If it is not said who records.
        """
        from gwnet.ingest.loggers.layout import Layout, load_layout
        from gwnet.ingest.loggers.load import LoggerInstruction, load_logger_files
        from gwnet.ingest.loggers.open import AUTO, Opening

        chosen = layout if isinstance(layout, Layout) or layout == AUTO else load_layout(layout)
        opening = Opening(chosen, zone or "", only or "", quantity or "", say)
        told = LoggerInstruction(now_utc or dt.datetime.now(dt.UTC), by, instrument)
        return load_logger_files(self.store, [Path(path) for path in paths], opening, told, progress=progress)

    def withdraw_download(
        self,
        file: str | Path,
        *,
        reason: str,
        by: str,
        instrument: str | None = None,
        quantity: str | None = None,
        now_utc: dt.datetime | None = None,
    ) -> Withdrawn:
        """Withdraw what a file of a logger gave; its samples count no more, and nothing is deleted.

        Parameters
        ----------
        file : str or pathlib.Path
            Path of the file, its name as it was loaded, or the first letters of its SHA-256.
        reason : str
            Why.
        by : str
            Who decides.
        instrument : str, optional
            Only what it gave to this instrument.
        quantity : str, optional
            Only what it gave of this quantity.
        now_utc : datetime.datetime, optional
            Aware time; the clock's unless given.

        Returns
        -------
        gwnet.ingest.loggers.withdraw.Withdrawn
            What was withdrawn, and what other files gave at the same instants, which counts now.

        Raises
        ------
        NotFoundError
            If no such download is on record.
        IngestError
            If several files have that name.
        SettingsError
            If the reason or the name is missing.
        """
        from gwnet.ingest.loggers.load import LoggerInstruction
        from gwnet.ingest.loggers.withdraw import withdraw

        told = LoggerInstruction(now_utc or dt.datetime.now(dt.UTC), by, instrument, reason)
        return withdraw(self.store, file, told, quantity=quantity)

    def downloads(self, instrument: str | None = None, *, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return the downloads on record, one row a file and series.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.store.fetch.samples.downloads`.
        """
        from gwnet.store.fetch import samples as fetch_samples

        with self.store.reading() as connection:
            table = fetch_samples.downloads(connection, known_on)
        return table if instrument is None else table[table["instrument"] == instrument].reset_index(drop=True)

    def conflicts(self, instrument: str | None = None, *, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return values that a download gave for instants at which another value is on record, which stays.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.store.fetch.samples.conflicts`.
        """
        from gwnet.store.fetch import samples as fetch_samples

        with self.store.reading() as connection:
            table = fetch_samples.conflicts(connection, known_on)
        return table if instrument is None else table[table["instrument"] == instrument].reset_index(drop=True)
