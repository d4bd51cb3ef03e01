"""The part of the face for programs that plans gauging rounds and makes their field sheets."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.products.rounds import RoundPlan
    from gwnet.store.session import Store


class Planning:
    """Planning of rounds and field sheets; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    """

    store: Store

    def due(
        self,
        *,
        on: dt.date | None = None,
        site: str | None = None,
        everything: bool = False,
        known_on: dt.datetime | None = None,
    ) -> pd.DataFrame:
        """Return what is due at the sites: gauging, surveys, tape checks, soundings and visits of loggers.

        Parameters
        ----------
        on : datetime.date, optional
            Local day to look from; today unless given.
        site : str, optional
            Only this site.
        everything : bool, optional
            Whether to give what is not due yet as well.
        known_on : datetime.datetime, optional
            Record as known at this time.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.fieldwork.planning.Programme.due`.

        Raises
        ------
        NotFoundError
            If the site is not on record.
        """
        from gwnet.products.rounds import due_at_sites

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on)
            record = record if site is None and len(record.all_sites) else record.of_site(site)
            return due_at_sites(record, on, now_utc=dt.datetime.now(dt.UTC), everything=everything)

    def plan_round(
        self,
        name: str,
        *,
        starts_on: dt.date,
        ends_on: dt.date | None = None,
        wells: Sequence[str] | None = None,
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

        Parameters
        ----------
        name : str
            Code of the round.
        starts_on, ends_on : datetime.date
            First and last local day; the last is the first unless given.
        wells : sequence of str, optional
            Codes of wells; every well that stands on the first day unless given.
        as_given : bool, optional
            Whether the wells keep their order instead of the walk's.
        start : str, optional
            Well from which the walk starts.
        last : sequence of str, optional
            Wells to be gauged after all others.
        crew, purpose, notes : str, optional
            Texts; with ``correct``, what is not given stays as it was.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        by : str
            Who records.
        now_utc : datetime.datetime, optional
            Aware time of the recording; the clock's unless given.
        correct : bool, optional
            Whether a round on record is planned anew.
        reason : str, optional
            Why; needed to correct.

        Returns
        -------
        gwnet.products.rounds.RoundPlan
            Outcome, stops and what is due.

        Raises
        ------
        NotFoundError
            If the site or a well is not on record.
        SettingsError
            If a well does not stand on the first day, the round ends before it starts, or a reason is missing.
        StoreError
            If the round is on record with other values and ``correct`` was not asked for.
        """
        from gwnet.products.rounds import PlanWish, plan_round

        wish = PlanWish(
            starts_on=starts_on,
            ends_on=ends_on,
            wells=None if wells is None else tuple(wells),
            as_given=as_given,
            start=start,
            last=tuple(last or ()),
            crew=crew,
            purpose=purpose,
            notes=notes,
        )
        moment = now_utc or dt.datetime.now(dt.UTC)
        with self.store.writing() as connection:
            record = Snapshot(connection).of_site(site)
            return plan_round(record, name, wish, now_utc=moment, by=by, correct=correct, reason=reason)

    def round_sheet(
        self,
        name: str,
        out: str | Path,
        *,
        date: dt.date | None = None,
        page: str = "A4",
        site: str | None = None,
        known_on: dt.datetime | None = None,
    ) -> list[Path]:
        """Write the field sheets of a gauging round: a PDF to print and a workbook to fill in.

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
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time; the same record gives the same bytes.

        Returns
        -------
        list of pathlib.Path
            The PDF and the workbook.

        Raises
        ------
        NotFoundError
            If the round is not on record.
        SettingsError
            If the date is none of the round's, or none of its wells stands.
        OutputError
            If the folder cannot be written.
        """
        from gwnet.products.field_sheets import gather, write_field_sheets

        with self.store.reading() as connection:
            content = gather(Snapshot(connection, known_on).of_site(site), name, date=date)
        return write_field_sheets(content, Path(out), page=page)
