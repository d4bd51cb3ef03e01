"""Gauging rounds: what is on record, what is due, plans and field sheets."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.network.base import Group, Instant, Wells, codes_of
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.products.rounds import RoundPlan


class Rounds(Group):
    """Gauging rounds."""

    _path = "net.rounds"

    def __call__(self, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return the gauging rounds; see `gwnet.store.fetch.programme.rounds`."""
        with self._record(site, known_on) as record:
            return record.rounds

    def due(
        self,
        *,
        on: dt.date | None = None,
        everything: bool = False,
        site: str | None = None,
        known_on: Instant = None,
    ) -> pd.DataFrame:
        """Return what is due at the sites: gauging, surveys, tape checks, soundings and visits of loggers.

        Parameters as `gwnet.network`; rows as `gwnet.analysis.fieldwork.planning.due`.

        Parameters
        ----------
        on : datetime.date, optional
            Local day to look from; today unless given.
        everything : bool, optional
            Whether to list what is not due yet as well.
        """
        from gwnet.products.rounds import due_at_sites

        with self._record(site, known_on) as record:
            # The clock of the database, which stamps what is recorded; that of this machine may differ.
            return due_at_sites(record, on, now_utc=self._store.now_utc(), everything=everything)

    def plan(
        self,
        name: str,
        *,
        starts_on: dt.date,
        ends_on: dt.date | None = None,
        wells: Wells = None,
        as_given: bool = False,
        start: str | None = None,
        last: Sequence[str] | None = None,
        crew: str | None = None,
        purpose: str | None = None,
        notes: str | None = None,
        site: str | None = None,
        by: str,
        now_utc: dt.datetime | None = None,
        correct: bool = False,
        reason: str | None = None,
    ) -> RoundPlan:
        """Plan a gauging round and record it.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        name : str
            Code of the round.
        starts_on, ends_on : datetime.date
            First and last local day; the last is the first unless given.
        wells : sequence of str, optional
            Codes of wells; every well that exists on the first day unless given.
        as_given : bool, optional
            Whether the wells keep their order instead of the walk's.
        start : str, optional
            Well from which the walk starts.
        last : sequence of str, optional
            Wells to be gauged after all others.
        crew, purpose, notes : str, optional
            Texts; with ``correct``, what is not given stays as it was.
        correct : bool, optional
            Whether a round on record is planned anew; this needs a reason.

        Returns
        -------
        gwnet.products.rounds.RoundPlan
            Outcome, stops and what is due.

        Raises
        ------
        SettingsError
            If a well does not exist on the first day, the round ends before it starts, or a reason is missing.
        StoreError
            If the round is on record with other values and ``correct`` was not asked for.
        """
        from gwnet.products.rounds import PlanWish, plan_round

        codes = codes_of(wells)
        wish = PlanWish(
            starts_on=starts_on,
            ends_on=ends_on,
            wells=None if codes is None else tuple(codes),
            as_given=as_given,
            start=start,
            last=tuple(last or ()),
            crew=crew,
            purpose=purpose,
            notes=notes,
        )
        with self._writing("round plan", by, reason=reason, now_utc=now_utc) as connection:
            # Planned and recorded in one unit of work: two people who plan a round at once do not get two of one name.
            record = Snapshot(connection).of_site(site)
            return plan_round(record, name, wish, by=by, correct=correct, reason=reason)

    def sheet(
        self,
        name: str,
        out: str | Path,
        *,
        date: dt.date | None = None,
        page: str = "A4",
        site: str | None = None,
        known_on: Instant = None,
    ) -> list[Path]:
        """Write the field sheets of a gauging round: a PDF to print and a workbook to fill in.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        name : str
            Code of the round.
        out : str or pathlib.Path
            Folder to write into.
        date : datetime.date, optional
            Only this day of a round of several days.
        page : str, optional
            Paper of the PDF, ``A4`` or ``Letter``.

        Returns
        -------
        list of pathlib.Path
            The PDF and the workbook; the same record gives the same bytes.

        Raises
        ------
        SettingsError
            If the date is none of the round's, or none of its wells exists.
        OutputError
            If the folder cannot be written.
        """
        from gwnet.products.field_sheets import gather, write_field_sheets

        with self._record(site, known_on, one_site=True) as record:
            # Gathered while the record is open, written when it is closed: setting a PDF takes seconds.
            content = gather(record, name, date=date)
        return write_field_sheets(content, Path(out), page=page)
