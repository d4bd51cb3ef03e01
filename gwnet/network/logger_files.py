"""Files of loggers: loading, inboxes, layouts, downloads and stored samples."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.errors import NotFoundError, SettingsError
from gwnet.network.base import Group, Instant, Moment, Wells, codes_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.ingest.loggers.folders import InboxResult
    from gwnet.ingest.loggers.layout import Layout
    from gwnet.ingest.loggers.result import LoggersResult
    from gwnet.ingest.loggers.trial import Trial
    from gwnet.ingest.loggers.withdraw import Withdrawn


class LoggerFiles(Group):
    """What files of loggers brought."""

    def load(
        self,
        paths: Sequence[str | Path],
        layout: str | Path | Layout = "auto",
        *,
        instrument: str | None = None,
        quantity: str | None = None,
        zone: str | None = None,
        only: str | None = None,
        repeated_hour: str | None = None,
        by: str,
        now_utc: dt.datetime | None = None,
        progress: Callable[[int, int], None] | None = None,
        say: Callable[[str], None] | None = None,
    ) -> LoggersResult:
        """Load files of loggers, each whole or nothing of it.

        Parameters as `gwnet.network` and `gwnet.network.loggers.Loggers.try_file`.

        Parameters
        ----------
        paths : sequence of str or pathlib.Path
            The files, and folders of them; each file is loaded by itself.
        layout : str, pathlib.Path or Layout, optional
            Layout, its name, or its TOML file; ``auto`` for the one that files of the instrument were read with before,
            or else for what looking at each file proposes.
        instrument : str, optional
            Code of the instrument; found by the serial number in the file, or by its name, unless given.
        progress : callable, optional
            Called with lines done and lines in all.
        say : callable, optional
            Called with what was decided without being asked.

        Returns
        -------
        gwnet.ingest.loggers.result.LoggersResult
            What happened to each file; a refused one has its error.

        Raises
        ------
        LayoutError
            If there is no such layout, or it is wrong.
        SettingsError
            If it is not said who records.
        """
        from gwnet.ingest.loggers.folders import list_logger_files
        from gwnet.ingest.loggers.layout import Layout, load_layout
        from gwnet.ingest.loggers.load import LoggerInstruction, load_logger_files
        from gwnet.ingest.loggers.open import AUTO, Opening
        from gwnet.ingest.loggers.remembered import read_known

        chosen = layout if isinstance(layout, Layout) or layout == AUTO else load_layout(layout)
        known = partial(read_known, self._store)
        opening = Opening(chosen, zone or "", only or "", quantity or "", say, known, instrument, repeated_hour or "")
        instruction = LoggerInstruction(by, instrument, now_utc=now_utc)
        # Listed before any is loaded: an empty folder ends the whole call with nothing loaded.
        files = list_logger_files([Path(path) for path in paths])
        return load_logger_files(self._store, files, opening, instruction, progress=progress)

    def inbox(
        self,
        folder: str | Path,
        *,
        by: str,
        done: str | Path | None = None,
        wait_s: float = 60.0,
        zone: str | None = None,
        now_utc: dt.datetime | None = None,
        say: Callable[[str], None] | None = None,
    ) -> InboxResult:
        """Load the files that arrived in a folder, and move those that are on record aside.

        Parameters as `gwnet.network`. Each file is read with the layout that its instrument's files were read with
        before, or else with what looking at it proposes. One run at a time holds a folder.

        Parameters
        ----------
        folder : str or pathlib.Path
            The folder.
        done : str or pathlib.Path, optional
            Where files are moved to; ``done`` within the folder unless given. A name that is taken there is never
            replaced.
        wait_s : float, optional
            How long a file must have been left unchanged, since it may still be arriving [s].
        zone : str, optional
            Zone of the times, where neither the layout nor the file says one.
        say : callable, optional
            Called with what was decided without being asked.

        Returns
        -------
        gwnet.ingest.loggers.folders.InboxResult
            What became of each file; ``frame()`` gives it as rows.

        Raises
        ------
        IngestError
            If there is no such folder.
        OutputError
            If another run is at work in it, or files cannot be moved.
        SettingsError
            If it is not said who records.
        """
        from gwnet.ingest.loggers.folders import empty_inbox

        def load(paths: Sequence[Path]) -> LoggersResult:
            return self.load(paths, zone=zone, by=by, now_utc=now_utc, say=say)

        # Before the folder is looked at: a file must not be moved aside by nobody.
        if not by.strip():
            raise SettingsError("It is not said who records.", fix="Give a name with --by.")
        aside = None if done is None else Path(done)
        # A file that is still being copied is left to the next run.
        return empty_inbox(Path(folder), load, done=aside, settled_before=time.time() - wait_s)

    def withdraw(
        self,
        file: str | Path,
        *,
        reason: str,
        by: str,
        instrument: str | None = None,
        quantity: str | None = None,
        now_utc: dt.datetime | None = None,
    ) -> Withdrawn:
        """Withdraw the samples of a logger file; they count no more, and nothing is deleted.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        file : str or pathlib.Path
            Path of the file, its name as it was loaded, or the first letters of its SHA-256.
        instrument : str, optional
            Only the samples of this instrument.
        quantity : str, optional
            Only the samples of this quantity.

        Returns
        -------
        gwnet.ingest.loggers.withdraw.Withdrawn
            What was withdrawn, and the samples of other files at the same instants, which count now.

        Raises
        ------
        NotFoundError
            If no such download is on record.
        IngestError
            If several files have that name.
        """
        from gwnet.ingest.loggers.load import LoggerInstruction
        from gwnet.ingest.loggers.withdraw import withdraw

        instruction = LoggerInstruction(by, instrument, reason, now_utc)
        return withdraw(self._store, file, instruction, quantity=quantity)

    def downloads(self, instrument: str | None = None, *, known_on: Instant = None) -> pd.DataFrame:
        """Return the downloads on record, one row a file and series.

        Parameters as `gwnet.network`; rows as `gwnet.store.fetch.samples.downloads`.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        """
        from gwnet.store.fetch.samples import downloads

        with self._record(None, known_on) as record:
            return _of_instrument(downloads(record.connection, record.known_on), instrument)

    def conflicts(self, instrument: str | None = None, *, known_on: Instant = None) -> pd.DataFrame:
        """Return values of downloads at instants at which another value is on record, which stays.

        Parameters as `gwnet.network`; rows as `gwnet.store.fetch.samples.conflicts`.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        """
        from gwnet.store.fetch.samples import conflicts

        with self._record(None, known_on) as record:
            return _of_instrument(conflicts(record.connection, record.known_on), instrument)

    def samples(
        self,
        wells: Wells = None,
        *,
        instruments: Sequence[str] | None = None,
        quantities: Sequence[str] | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
    ) -> pd.DataFrame:
        """Return the stored samples of loggers as they are in the files: of any quantity, without any correction.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.raw_samples.SAMPLE_COLUMNS`.

        Parameters
        ----------
        instruments, quantities : sequence of str, optional
            Only these; all unless given.

        Raises
        ------
        NotFoundError
            If an instrument or quantity has no series on record.
        """
        from gwnet.analysis.loggers.raw_samples import list_samples
        from gwnet.analysis.loggers.tables import span_of

        codes = codes_of(wells)
        with self._record(site, known_on, wells=codes) as record:
            zones = record.sites["time_zone"].unique()
            # Sites of several zones share no local day.
            span = span_of(start, end, str(zones[0]) if len(zones) == 1 else "UTC")
            asked = {"instruments": instruments, "quantities": quantities}
            return list_samples(record, codes, **asked, start=span[0], end=span[1])

    def samples_figure(self, wells: Wells = None, **chosen: Any) -> Figure:
        """Draw the stored samples of loggers, a panel an instrument and quantity.

        Parameters
        ----------
        wells : sequence of str, optional
            Only while the instruments were in these wells.
        **chosen : object
            As `net.loggers.samples`.

        Returns
        -------
        matplotlib.figure.Figure
            The figure; `net.save_figure` writes it.

        Raises
        ------
        NotFoundError
            If there is no sample that matches.
        """
        from gwnet.products.logger_samples import samples_figure

        return samples_figure(self.samples(wells, **chosen))

    def remembered_layout(self, instrument: str) -> Layout:
        """Return the layout that the newest file of an instrument was read with; the next one is read so as well.

        Parameters
        ----------
        instrument : str
            Code of the instrument.

        Raises
        ------
        NotFoundError
            If no file of it is on record.
        """
        from gwnet.ingest.loggers.remembered import read_known

        mine = [each.layout for each in read_known(self._store).remembered if each.instrument == instrument]
        if not mine:
            message = f"No file of instrument {instrument!r} is on record."
            raise NotFoundError(message, fix="'gwnet logger downloads' lists the files that were loaded.")
        return mine[0]

    @staticmethod
    def try_file(
        path: str | Path,
        layout: str | Path | Layout | None = None,
        *,
        zone: str | None = None,
        only: str | None = None,
        quantity: str | None = None,
        repeated_hour: str | None = None,
        shown: int = 5,
    ) -> Trial:
        """Read a file of a logger and store nothing.

        Parameters
        ----------
        path : str or pathlib.Path
            The file.
        layout : str, pathlib.Path or Layout, optional
            Layout, its name, or its TOML file; one is proposed unless given.
        zone : str, optional
            Zone of the times, where neither the layout nor the file says one.
        only : str, optional
            Which well or instrument to read, where the file has a column that says it.
        quantity : str, optional
            Read this quantity alone; the one column in such a unit is taken to be it.
        repeated_hour : {"first", "second"}, optional
            Of which hour a time is that was twice, where nothing in the file shows it.
        shown : int, optional
            How many of the first and of the last rows to return.

        Returns
        -------
        gwnet.ingest.loggers.trial.Trial
            Columns, first and last rows, span, gaps, odd rows; the proposal, where no layout was given.

        Raises
        ------
        LayoutError
            If there is no such layout, it is wrong, does not fit, or none can be proposed.
        UnreadableFileError
            If the file cannot be read, is empty or no text.
        """
        from gwnet.ingest.loggers.layout import Layout, load_layout
        from gwnet.ingest.loggers.trial import try_file

        chosen = layout if layout is None or isinstance(layout, Layout) else load_layout(layout)
        asked = {"zone": zone, "only": only, "quantity": quantity, "repeated_hour": repeated_hour}
        return try_file(path, chosen, shown=shown, **{name: value or "" for name, value in asked.items()})

    @staticmethod
    def layouts() -> pd.DataFrame:
        """Return the layouts that are part of the program: their names, and what each is for."""
        from gwnet.ingest.loggers.layout import layouts

        return pd.DataFrame([(layout.name, layout.about) for layout in layouts()], columns=["layout", "about"])

    @staticmethod
    def layout(layout: str | Path) -> Layout:
        """Return a layout; its ``toml()`` is its text.

        Parameters
        ----------
        layout : str or pathlib.Path
            Its name, or its TOML file.

        Raises
        ------
        LayoutError
            If there is no such layout, or it is wrong.
        """
        from gwnet.ingest.loggers.layout import load_layout

        return load_layout(layout)


def _of_instrument(table: pd.DataFrame, instrument: str | None) -> pd.DataFrame:
    """Return the rows of one instrument, or all."""
    return table if instrument is None else table[table["instrument"] == instrument].reset_index(drop=True)
