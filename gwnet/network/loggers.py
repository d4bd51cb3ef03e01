"""Loggers: their heads, findings, corrections and coverage; their files stand in `gwnet.network.logger_files`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.errors import SettingsError
from gwnet.network.base import Instant, Moment, Wells, codes_of, day_of, instant_of, same_parameters
from gwnet.network.logger_files import LoggerFiles
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from gwnet.analysis.levels.explain import Explanation
    from gwnet.analysis.loggers.corrections import Corrected, PlannedCorrections
    from gwnet.analysis.loggers.heads import LoggerHeads
    from gwnet.products.hydrographs import CoverageChart


class Loggers(LoggerFiles):
    """Loggers and their series."""

    _path = "net.loggers"

    def heads(
        self,
        wells: Wells = None,
        *,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        excluded: bool = False,
    ) -> pd.DataFrame:
        """Return the heads of loggers, one row a sample.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.tables.HEAD_COLUMNS`.

        Parameters
        ----------
        excluded : bool, optional
            Whether samples without a head are listed as well, with the reason in ``unusable_reason``.
        """
        from gwnet.analysis.loggers.tables import heads_table

        with self._record(site, known_on, wells=codes_of(wells)) as record:
            return in_unit(heads_table(*_heads(record, wells, start, end), excluded=excluded), unit)

    def daily(
        self,
        wells: Wells = None,
        *,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the daily values of loggers: mean, lowest and highest head of each local day.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.daily.DAILY_COLUMNS`.
        """
        from gwnet.analysis.loggers.daily import daily_values

        with self._record(site, known_on, wells=codes_of(wells)) as record:
            return in_unit(daily_values(*_heads(record, wells, start, end)), unit)

    def status(
        self,
        wells: Wells = None,
        *,
        at_utc: Instant = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
    ) -> pd.DataFrame:
        """Return the state of each logger: coverage, gaps, last visit, residuals, drift, battery and findings.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.status.STATUS_COLUMNS`, one row a
        deployment. Barometers are left out where wells are named.

        Parameters
        ----------
        at_utc : datetime or str, optional
            Until when an installed logger should have samples; until its last sample unless given.
        """
        from gwnet.analysis.loggers.status import summarize_status
        from gwnet.ingest.loggers.serials import find_other_serials

        codes = codes_of(wells)
        with self._record(site, known_on, wells=codes) as record:
            # From the files as they were loaded, which analysis knows nothing of; so it is handed in.
            serials = find_other_serials(record.connection, record.known_on)
            return in_unit(summarize_status(record, codes, at_utc=instant_of(at_utc), other_serials=serials), unit)

    def findings(self, wells: Wells = None, *, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return what looks wrong in the series of loggers, with the command that would fix it.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.suggestion.FINDING_COLUMNS`.
        """
        from gwnet.analysis.loggers.findings import list_findings
        from gwnet.ingest.loggers.serials import find_other_serials

        codes = codes_of(wells)
        with self._record(site, known_on, wells=codes) as record:
            serials = find_other_serials(record.connection, record.known_on)
            return list_findings(record, codes, other_serials=serials)

    def efficiencies(
        self,
        wells: Wells = None,
        *,
        every_hours: float = 1.0,
        lag_hours: float = 24.0,
        tides: bool = False,
        site: str | None = None,
        known_on: Instant = None,
    ) -> pd.DataFrame:
        """Return the barometric efficiency of each deployment by several methods, with limits.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.efficiency.EFFICIENCY_COLUMNS`.

        Parameters
        ----------
        every_hours : float, optional
            Step at which levels and air pressure are compared [h].
        lag_hours : float, optional
            Time within which a well may answer, for the deconvolution [h].
        tides : bool, optional
            Whether the deconvolution fits earth tides beside the air pressure.
        """
        from gwnet.analysis.loggers.efficiency import estimate_efficiencies

        codes = codes_of(wells)
        with self._record(site, known_on, wells=codes) as record:
            return estimate_efficiencies(record, codes, every_hours=every_hours, lag_hours=lag_hours, tides=tides)

    @same_parameters(efficiencies)
    def barometric_response(self, *, wells: Wells, site: str | None, known_on: Instant, **how: Any) -> pd.DataFrame:
        """Return the response of each deployment to a step of air pressure, one row a lag, and to earth tides.

        Parameters as `gwnet.network` and `gwnet.network.loggers.Loggers.efficiencies`; columns of
        `gwnet.analysis.loggers.efficiency.RESPONSE_COLUMNS`.
        """
        from gwnet.analysis.loggers.efficiency import estimate_responses

        codes = codes_of(wells)
        with self._record(site, known_on, wells=codes) as record:
            return estimate_responses(record, codes, **how)

    def explain(
        self, well: str, time: str, *, site: str | None = None, known_on: Instant = None, unit: str = "m"
    ) -> list[Explanation]:
        """Explain the heads of the loggers of a well at a time.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        well : str
            Code of the well.
        time : str
            Local date (noon is meant) or time in ISO 8601; the nearest sample within a day is explained.

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

        with self._record(site, known_on) as record:
            return explain_head(record, well, time, unit=unit)

    def coverage(
        self,
        wells: Wells = None,
        *,
        start: Moment = None,
        end: Moment = None,
        loggers_only: bool = False,
        site: str | None = None,
        known_on: Instant = None,
    ) -> CoverageChart:
        """Draw who has data when: a row a logger and well, bars where there are samples, manual readings as ticks.

        Parameters as `gwnet.network`. Barometers are drawn whichever wells are named.

        Parameters
        ----------
        loggers_only : bool, optional
            Whether wells without a logger are left out.

        Returns
        -------
        gwnet.products.hydrographs.CoverageChart
            Its figures are pages of 33 rows; ``write`` makes one PDF of all, or a PNG or SVG a page.
        """
        from gwnet.products.hydrographs import coverage_chart

        codes = codes_of(wells)
        with self._record(site, known_on, one_site=True, wells=codes) as record:
            return coverage_chart(record, codes, start=day_of(start), end=day_of(end), loggers_only=loggers_only)

    def correct(
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

        Parameters as `gwnet.network`.

        Parameters
        ----------
        instrument : str
            Code of the instrument.
        kind : str
            Kind of correction: `gwnet.analysis.loggers.correction_kinds.KINDS`.
        quantity : str, optional
            Which series; that of the level unless given.
        start, end : datetime.datetime, optional
            Aware times of the half-open span; open unless given.
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
        from gwnet.analysis.loggers.corrections import Correction, plan_corrections

        wanted = Correction(instrument, kind, parameters, quantity, start, end)
        return self._decided(lambda record: plan_corrections(record, wanted), by, reason, now_utc, dry_run=dry_run)

    def accept(
        self,
        *findings: str,
        reason: str,
        by: str,
        rules: Sequence[str] = (),
        wells: Wells = None,
        start: dt.datetime | None = None,
        end: dt.datetime | None = None,
        instrument: str | None = None,
        now_utc: dt.datetime | None = None,
        dry_run: bool = False,
    ) -> Corrected:
        """Record the corrections that findings about loggers suggest: all of them or none.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        *findings : str
            Names of the findings, from `net.loggers.findings()`.
        rules : sequence of str, optional
            All findings of these rules that suggest a correction, at the wells and within the span that are given.
        start, end : datetime.datetime, optional
            Aware times; findings of the rules that reach beyond them are left out.
        instrument : str, optional
            Only findings about this instrument.

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
        """
        from gwnet.analysis.loggers.corrections import Wanted, plan_corrections, suggested_corrections

        wanted = Wanted(tuple(rules), tuple(codes_of(wells) or ()), instrument, start, end)

        def plan(record: Snapshot) -> PlannedCorrections:
            # Inside the plan: it may be made anew, on a record that has changed meanwhile.
            record.require(wells=codes_of(wells))
            return plan_corrections(record, *suggested_corrections(record, *findings, wanted=wanted))

        return self._decided(plan, by, reason, now_utc, dry_run=dry_run)

    def dismiss(
        self, *findings: str, reason: str, by: str, now_utc: dt.datetime | None = None, dry_run: bool = False
    ) -> Corrected:
        """Dismiss findings about loggers, all of them or none: their samples are levels again.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        *findings : str
            Names of the findings, from `net.loggers.findings()`.

        Returns
        -------
        gwnet.analysis.loggers.corrections.Corrected
            The numbers of the corrections ``keep`` that dismiss them, and what they change together.

        Raises
        ------
        NotFoundError
            If there is no such finding any more.
        AnalysisError
            If one keeps no samples out.
        """
        from gwnet.analysis.loggers.corrections import dismissals, plan_corrections

        def plan(record: Snapshot) -> PlannedCorrections:
            return plan_corrections(record, *dismissals(record, *findings))

        return self._decided(plan, by, reason, now_utc, dry_run=dry_run)

    def withdraw_corrections(
        self, *numbers: int, reason: str, by: str, now_utc: dt.datetime | None = None, dry_run: bool = False
    ) -> Corrected:
        """Withdraw corrections of loggers, all of them or none; they stay for the record of every earlier time.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        *numbers : int
            Numbers of the corrections.

        Returns
        -------
        gwnet.analysis.loggers.corrections.Corrected
            What was withdrawn and what that changes.

        Raises
        ------
        NotFoundError
            If there is no such correction on record.
        """
        from gwnet.analysis.loggers.corrections import plan_withdrawal

        return self._decided(lambda record: plan_withdrawal(record, *numbers), by, reason, now_utc, dry_run=dry_run)

    def _decided(
        self,
        plan: Callable[[Snapshot], PlannedCorrections],
        by: str,
        reason: str,
        now_utc: dt.datetime | None,
        *,
        dry_run: bool,
    ) -> Corrected:
        """Record or withdraw corrections; a dry run only looks what that would change."""
        from gwnet.analysis.loggers.corrections import Corrected, record_corrections

        # For a dry run as well, so that what worked as a trial works when it counts.
        if not (reason or "").strip() or not by.strip():
            message = "A correction of a logger needs its reason and who decides."
            raise SettingsError(message, fix="Give --reason TEXT and --by NAME.")
        if dry_run:
            with self._record() as record:
                planned = plan(record)
                return Corrected((), planned.description, planned.moved)

        def carry_out(connection: Connection, planned: PlannedCorrections) -> Corrected:
            return record_corrections(connection, planned, by=by, reason=reason)

        return self._planned(plan, carry_out, "logger correct", by, reason=reason, now_utc=now_utc)

    def corrections(self, instrument: str | None = None, *, known_on: Instant = None) -> pd.DataFrame:
        """Return the corrections of loggers on record.

        Parameters as `gwnet.network`; columns of `gwnet.analysis.loggers.corrections.CORRECTION_COLUMNS`.

        Parameters
        ----------
        instrument : str, optional
            Only of this instrument.
        """
        from gwnet.analysis.loggers.corrections import list_corrections

        with self._record(None, known_on) as record:
            return list_corrections(record, instrument)


def _heads(record: Snapshot, wells: Wells, start: Moment, end: Moment) -> tuple[list[LoggerHeads], dict[str, str]]:
    """Return heads over a span, and the time zone of each site."""
    from gwnet.analysis.loggers.heads import work_out_heads
    from gwnet.analysis.loggers.tables import span_of

    zones = {str(row["site"]): str(row["time_zone"]) for _, row in record.sites.iterrows()}
    heads = []
    # Site by site: a local day is another span of UTC in another zone.
    for code, zone in zones.items():
        heads += work_out_heads(record.of_site(code), codes_of(wells), *span_of(start, end, zone))
    return heads, zones
