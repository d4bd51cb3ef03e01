"""Reduced levels: the table of them, one well as a time series, how each was worked out, what corrections moved."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.errors import SettingsError
from gwnet.network.base import Group, Instant, Moment, Wells, asked_state, codes_of, day_or_instant
from gwnet.records import Selection
from gwnet.store.fetch.states import known_on_of
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.levels.explain import Explanation


class Levels(Group):
    """Reduced levels of wells."""

    _path = "net.levels"

    def __call__(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        round: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        loggers: str = "none",
        as_recorded: bool = False,
    ) -> pd.DataFrame:
        """Return reduced levels, one row an event.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        round : str, optional
            Only levels of this gauging round.
        loggers : {"none", "round", "daily"}, optional
            Whether rows of loggers are among them: heads at the moment of each round, or daily means.
        as_recorded : bool, optional
            Whether the readings as they were recorded come along, as `gwnet.analysis.levels.as_recorded.add_recorded`:
            a file of such a table loads as readings.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.levels.table.levels`: ``measured_at`` is local time as text, ``measured_at_utc`` a time
            with zone, ``day`` the local date; rows of loggers as `gwnet.analysis.loggers.levels.add_loggers`, readings
            of pumping tests as `gwnet.analysis.pumping.readings.add_test_readings`.
        """
        codes = codes_of(wells)
        chosen = Selection.of(codes, aquifer=aquifer, round=round, start=day_or_instant(start), end=day_or_instant(end))
        from gwnet.analysis.levels.table import select_rows
        from gwnet.analysis.pumping.readings import add_test_readings

        with self._record(site, known_on, wells=codes, aquifer=aquifer, round=round) as record:
            # Before the choice of rows: readings of tests are of wells and dates as well.
            table = add_test_readings(record, levels_of(record, chosen, loggers), chosen)
            table = select_rows(table, chosen)
            if as_recorded:
                from gwnet.analysis.levels.as_recorded import add_recorded

                table = add_recorded(record, table, chosen)
            return in_unit(table, unit)

    def refresh(self) -> int:
        """Fill the table ``reduced_level``, which readers ask by SQL, with the levels as they are on record now.

        Returns
        -------
        int
            Number of rows. Whatever may change a level empties the table in its own transaction, so that it never
            holds a level that is no longer on record.
        """
        from gwnet.analysis.levels.reduced_table import refresh_reduced_levels

        return refresh_reduced_levels(self._store)

    def series(
        self,
        well: str,
        *,
        column: str = "water_elevation_m",
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        loggers: str = "none",
    ) -> pd.Series:
        """Return the levels of one well as a time series that can be resampled.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        well : str
            Code of the well.
        column : str, optional
            Which column of the levels.
        loggers : {"none", "round", "daily"}, optional
            As in `net.levels()`.

        Returns
        -------
        pandas.Series
            Levels that may enter maps and trends and have a number. The index ``measured_at_local`` has the zone of
            the site, so that ``.resample("MS").median()`` gives one value a calendar month.

        Raises
        ------
        SettingsError
            If there is no such column of numbers.
        """
        from gwnet.clock import zone_of
        from gwnet.errors import SettingsError

        chosen = Selection.of([well], start=day_or_instant(start), end=day_or_instant(end))
        with self._record(site, known_on, one_site=True, wells=[well]) as record:
            table = levels_of(record, chosen, loggers)
            zone = zone_of(str(record.settings["time_zone"]))
        # A text or a flag cannot be resampled, and pandas would say so in terms of its own.
        if column not in table.columns or not pd.api.types.is_float_dtype(table[column]):
            numbers = [str(name) for name in table.columns if pd.api.types.is_float_dtype(table[name])]
            message = f"Levels have no column of numbers {column!r}."
            raise SettingsError(message, fix=f"Name one of {', '.join(numbers)}.")
        # A series is to be averaged: a level with an open finding, or a bound, is in the table and not here.
        table = table[table["usable"] & table[column].notna()]
        # Local, with its zone: days, months and years of a resampled series are those of the site.
        index = pd.DatetimeIndex(table["measured_at_utc"].dt.tz_convert(zone), name="measured_at_local")
        return pd.Series(table[column].to_numpy(), index=index, name=column)

    def explain(
        self, well: str, time: str, *, site: str | None = None, known_on: Instant = None, unit: str = "m"
    ) -> list[Explanation]:
        """Explain the levels of a well at a time, step by step, to file and row.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        well : str
            Code of the well.
        time : str
            Local date or time in ISO 8601; a date explains every level of that day.

        Returns
        -------
        list of gwnet.analysis.levels.explain.Explanation
            As `gwnet.analysis.loggers.explain.explain_level`.

        Raises
        ------
        NotFoundError
            If the well has no level at that time.
        """
        from gwnet.analysis.loggers.explain import explain_level

        with self._record(site, known_on, wells=[well]) as record:
            return explain_level(record, well, time, unit=unit)

    def effects(
        self, wells: Wells = None, *, site: str | None = None, since: Instant = None, until: Instant = None
    ) -> pd.DataFrame:
        """Return the levels that corrections moved between two times of the record, before and after.

        Parameters as `gwnet.network`; rows as `gwnet.analysis.review.effects.find_effects`.

        Parameters
        ----------
        since, until : datetime or str, optional
            Aware times; just before the newest change, and now, unless given.

        Raises
        ------
        SettingsError
            If ``until`` lies before ``since``.
        """
        from gwnet.analysis.review.effects import find_effects

        codes = codes_of(wells)
        with self._record(site, wells=codes) as record:
            # Only instants can be compared yet: what a state's number stands for is in the record.
            asked = [asked_state(moment) for moment in (since, until)]
            if all(isinstance(moment, dt.datetime) for moment in asked) and asked[1] < asked[0]:  # type: ignore[operator]
                message = f"{asked[1]} lies before {asked[0]}."
                raise SettingsError(message, fix="Give the earlier time first.")
            before, after = (known_on_of(record.connection, moment) for moment in asked)
            return find_effects(Snapshot(record.connection, after, site), Selection.of(codes), before)


def levels_of(record: Snapshot, selection: Selection, loggers: str = "none") -> pd.DataFrame:
    """Return reduced levels with those of loggers among them, as they are asked for.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    selection : gwnet.records.Selection
        Which levels.
    loggers : {"none", "round", "daily"}, optional
        As of `gwnet.analysis.loggers.levels.add_loggers`.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.levels.table.levels`.
    """
    from gwnet.analysis.levels.table import levels, select_rows
    from gwnet.analysis.loggers.levels import add_loggers

    return select_rows(add_loggers(record, levels(record, selection), selection, loggers), selection)
