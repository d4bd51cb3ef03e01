"""The part of the face for programs that turns samples of loggers into heads, and corrects them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.store.fetch.codes import check_codes
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from gwnet.analysis.levels.explain import Explanation
    from gwnet.analysis.loggers.corrections import Corrected
    from gwnet.analysis.loggers.heads import LoggerHeads
    from gwnet.store.session import Store


class _Undo(Exception):  # noqa: N818 (not an error)
    """Rolls back what a dry run wrote."""


class LoggerHeading:
    """Heads of loggers and their corrections; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def logger_heads(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        excluded: bool = False,
    ) -> pd.DataFrame:
        """Return the heads of loggers, one row a sample.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        site : str, optional
            Only this site.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the elevations, m or ft.
        excluded : bool, optional
            Whether samples that have no head are listed as well, with the reason in ``unusable_reason``.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.tables.HEAD_COLUMNS`.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        SettingsError
            If a date or the unit cannot be used.
        """
        from gwnet.analysis.levels.display_unit import in_unit
        from gwnet.analysis.loggers.tables import heads_table

        found, zones = self._heads_between(wells, site, start, end, known_on)
        return in_unit(heads_table(found, zones, excluded=excluded), unit)

    def logger_daily(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the daily values of loggers: mean, lowest and highest head of each local day.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        site : str, optional
            Only this site.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the elevations, m or ft.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.daily.DAILY_COLUMNS`.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        SettingsError
            If a date or the unit cannot be used.
        """
        from gwnet.analysis.levels.display_unit import in_unit
        from gwnet.analysis.loggers.daily import daily_values

        return in_unit(daily_values(*self._heads_between(wells, site, start, end, known_on)), unit)

    def logger_status(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        at_utc: dt.datetime | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the state of each logger: coverage, gaps, last visit, residuals, drift, battery and findings.

        Parameters
        ----------
        wells : sequence of str, optional
            Only these wells, and no barometers; all unless given.
        site : str, optional
            Only this site.
        at_utc : datetime.datetime, optional
            Until when a logger that is still installed should have samples; until its last sample unless given.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the lengths, m or ft.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.status.STATUS_COLUMNS`, one row a deployment.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        """
        from gwnet.analysis.levels.display_unit import in_unit
        from gwnet.analysis.loggers.status import summarize_status

        with self.store.reading() as connection:
            check_codes(connection, known_on, site=site, wells=wells)
            return in_unit(summarize_status(Snapshot(connection, known_on, site), wells, at_utc=at_utc), unit)

    def logger_findings(
        self, wells: Sequence[str] | None = None, *, site: str | None = None, known_on: dt.datetime | None = None
    ) -> pd.DataFrame:
        """Return what looks wrong in the series of loggers, with the command that would fix it.

        Parameters
        ----------
        wells : sequence of str, optional
            Only these wells; all unless given.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.suggestion.FINDING_COLUMNS`.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        """
        from gwnet.analysis.loggers.findings import list_findings

        with self.store.reading() as connection:
            check_codes(connection, known_on, site=site, wells=wells)
            return list_findings(Snapshot(connection, known_on, site), wells)

    def correct_logger(
        self,
        instrument: str,
        kind: str,
        *,
        reason: str,
        by: str,
        quantity: str | None = None,
        start: dt.datetime | None = None,
        end: dt.datetime | None = None,
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
        **parameters: Any,
    ) -> Corrected:
        """Record a correction of a logger.

        Parameters
        ----------
        instrument : str
            Code of the instrument.
        kind : str
            Kind of correction: `gwnet.analysis.loggers.correction_kinds.KINDS`.
        reason : str
            Why.
        by : str
            Who decides.
        quantity : str, optional
            Which series; that of the level unless given.
        start, end : datetime.datetime, optional
            Aware times of the half-open span; open unless given.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.
        dry_run : bool, optional
            Whether only to work out what it would move.
        **parameters : object
            Its parameters, such as ``seconds`` or ``cause``; None counts as not given.

        Returns
        -------
        gwnet.analysis.loggers.corrections.Corrected
            Its number and what it moves.

        Raises
        ------
        NotFoundError
            If the instrument has no such series.
        AnalysisError
            If the parameters do not serve.
        SettingsError
            If the reason or the name is missing, or the span does not run forward.
        """
        from gwnet.analysis.loggers.corrections import Correction, correct

        wanted = Correction(instrument, kind, parameters, quantity, start, end)
        now = now_utc or dt.datetime.now(dt.UTC)
        with self._deciding(dry_run=dry_run) as connection:
            return correct(connection, wanted, by=by, reason=reason, now_utc=now)

    def accept_logger_findings(
        self,
        *findings: str,
        reason: str,
        by: str,
        instrument: str | None = None,
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
    ) -> Corrected:
        """Record the corrections that findings about loggers suggest: all of them or none.

        Parameters
        ----------
        *findings : str
            Names of the findings: `logger_findings`.
        reason : str
            Why.
        by : str
            Who decides.
        instrument : str, optional
            Only findings about this instrument.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.
        dry_run : bool, optional
            Whether only to work out what it would move.

        Returns
        -------
        gwnet.analysis.loggers.corrections.Corrected
            Their numbers and what they change together.

        Raises
        ------
        NotFoundError
            If there is no such finding any more.
        AnalysisError
            If one suggests no correction.
        SettingsError
            If the reason or the name is missing.
        """
        from gwnet.analysis.loggers.corrections import correct, suggested_corrections

        now = now_utc or dt.datetime.now(dt.UTC)
        with self._deciding(dry_run=dry_run) as connection:
            wanted = suggested_corrections(Snapshot(connection), *findings, instrument=instrument)
            return correct(connection, *wanted, by=by, reason=reason, now_utc=now)

    def withdraw_corrections(
        self, *numbers: int, reason: str, by: str, now_utc: dt.datetime | None = None, dry_run: bool = False
    ) -> Corrected:
        """Withdraw corrections of loggers; they stay for the record of every earlier time.

        Parameters
        ----------
        *numbers : int
            Numbers of the corrections; all of them are withdrawn or none.
        reason : str
            Why.
        by : str
            Who decides.
        now_utc : datetime.datetime, optional
            Aware time; the clock's unless given.
        dry_run : bool, optional
            Whether only to work out what it would change.

        Returns
        -------
        gwnet.analysis.loggers.corrections.Corrected
            What was withdrawn and what that changes.

        Raises
        ------
        NotFoundError
            If there is no such correction on record.
        SettingsError
            If the reason or the name is missing.
        """
        from gwnet.analysis.loggers.corrections import withdraw_corrections

        now = now_utc or dt.datetime.now(dt.UTC)
        with self._deciding(dry_run=dry_run) as connection:
            return withdraw_corrections(connection, *numbers, by=by, reason=reason, now_utc=now)

    def logger_corrections(self, instrument: str | None = None, *, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """Return the corrections of loggers on record.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.corrections.CORRECTION_COLUMNS`.
        """
        from gwnet.analysis.loggers.corrections import list_corrections

        with self.store.reading() as connection:
            return list_corrections(Snapshot(connection, known_on), instrument)

    def logger_efficiencies(
        self,
        wells: Sequence[str] | None = None,
        *,
        site: str | None = None,
        every_hours: float = 1.0,
        known_on: dt.datetime | None = None,
    ) -> pd.DataFrame:
        """Return the barometric efficiency of each deployment, by Clark's signs and by regression.

        Parameters
        ----------
        wells : sequence of str, optional
            Only these wells; all unless given.
        site : str, optional
            Only this site.
        every_hours : float, optional
            Step at which levels and air pressure are compared [h].
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            Columns of `gwnet.analysis.loggers.efficiency.EFFICIENCY_COLUMNS`.

        Raises
        ------
        NotFoundError
            If a site or well is not on record.
        """
        from gwnet.analysis.loggers.efficiency import estimate_efficiencies

        with self.store.reading() as connection:
            check_codes(connection, known_on, site=site, wells=wells)
            return estimate_efficiencies(Snapshot(connection, known_on, site), wells, every_hours=every_hours)

    def explain_head(
        self,
        well: str,
        time: str,
        *,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
    ) -> list[Explanation]:
        """Explain the heads of the loggers of a well at a time.

        Parameters
        ----------
        well : str
            Code of the well.
        time : str
            Local date (noon is meant) or time in ISO 8601; the nearest sample within a day is explained.
        site : str, optional
            Code of the site, where several have a well of that code.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the printed lengths.

        Returns
        -------
        list of gwnet.analysis.levels.explain.Explanation
            One for each logger.

        Raises
        ------
        NotFoundError
            If no logger of that well has a sample within a day.
        """
        from gwnet.analysis.loggers.explain import explain_head

        with self.store.reading() as connection:
            return explain_head(Snapshot(connection, known_on, site), well, time, unit=unit)

    @contextmanager
    def _deciding(self, *, dry_run: bool) -> Iterator[Connection]:
        """Give a connection for a decision; a dry run leaves the record as it was."""
        try:
            with self.store.writing() as connection:
                yield connection
                if dry_run:
                    raise _Undo
        except _Undo:
            return

    def _heads_between(
        self,
        wells: Sequence[str] | None,
        site: str | None,
        start: dt.date | dt.datetime | str | None,
        end: dt.date | dt.datetime | str | None,
        known_on: dt.datetime | None,
    ) -> tuple[list[LoggerHeads], dict[str, str]]:
        """Return heads over a span, and the time zone of each site."""
        from gwnet.analysis.loggers.heads import work_out_heads
        from gwnet.analysis.loggers.tables import span_of

        with self.store.reading() as connection:
            check_codes(connection, known_on, site=site, wells=wells)
            record = Snapshot(connection, known_on, site)
            zones = {str(row["site"]): str(row["time_zone"]) for _, row in record.sites.iterrows()}
            heads = []
            for code, zone in zones.items():
                heads += work_out_heads(record.of_site(code), wells, *span_of(start, end, zone))
        return heads, zones
