"""The part of the face for programs that tests levels for trends."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.store.session import Store


class Trending:
    """Trends of levels; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    levels : callable
        The network's own levels.
    """

    store: Store
    levels: Callable[..., pd.DataFrame]

    def trends(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Test the levels of wells for monotonic trends, one row a well.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given. They are also what ``p_adjusted`` is for.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind), ``kendall`` (one value a year) or ``all`` (every value, with
            the variance corrected for autocorrelation).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of lengths and slopes: m (columns end in ``_m``, ``_m_per_year``) or ft (``_ft``, ``_ft_per_year``).
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trends.trends`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.series.trends import trends

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        return in_unit(trends(levels, asked, method=method, seasons=seasons, approved=approved), unit)

    def pooled_trends(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Test the wells of each aquifer together for one trend, one row an aquifer.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind) or ``kendall`` (one value a year).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of lengths and slopes: m (columns end in ``_m``, ``_m_per_year``) or ft (``_ft``, ``_ft_per_year``).
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_pooled.pooled_trends`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.series.trend_pooled import pooled_trends

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        return in_unit(pooled_trends(levels, asked, method=method, seasons=seasons, approved=approved), unit)

    def threshold_dates(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Project the trends of wells to their thresholds in force, one row a well and threshold.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind) or ``kendall`` (one value a year).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of lengths and slopes: m (columns end in ``_m``, ``_m_per_year``) or ft (``_ft``, ``_ft_per_year``).
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_thresholds.threshold_dates`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.levels.thresholds import with_elevations
        from gwnet.analysis.series.trend_thresholds import threshold_dates

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        with self.store.reading() as connection:
            limits = fetch_programme.thresholds(connection, known_on, site)
            points = fetch.measuring_points(connection, known_on, site)
            everything = fetch.wells(connection, known_on, site)
        limits = limits[limits["valid_until_utc"].isna() & limits["well_id"].isin(asked["well_id"])]
        limits = with_elevations(limits, everything, points)
        return in_unit(threshold_dates(levels, limits, method=method, seasons=seasons, approved=approved), unit)

    def trend_steps(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Test the levels of wells for steps: the most likely one, and those at moments on record.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        method : str, optional
            ``seasonal`` (each season with its own kind) or ``kendall`` (one value a year).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of lengths and slopes: m (columns end in ``_m``, ``_m_per_year``) or ft (``_ft``, ``_ft_per_year``).
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_steps.trend_steps`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the method, number of seasons or unit is not known.
        """
        from gwnet.analysis.series.trend_moments import find_moments
        from gwnet.analysis.series.trend_steps import trend_steps

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        with self.store.reading() as connection:
            moments = find_moments(Snapshot(connection, known_on, site))
        return in_unit(trend_steps(levels, asked, moments, method=method, seasons=seasons, approved=approved), unit)

    def trend_left_out(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """List the levels that take no part in trends, each with its reason.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells; all unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Only this site.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the levels: m (columns end in ``_m``) or ft (``_ft``).
        approved : bool, optional
            Whether provisional levels are among them.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.levels.serving.left_out_levels`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the unit is not known.
        """
        from gwnet.analysis.levels.serving import left_out_levels

        levels, _ = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        return in_unit(left_out_levels(levels, approved=approved), unit)

    def _trend_inputs(
        self,
        wells: Sequence[str] | None,
        aquifer: str | None,
        start: dt.date | dt.datetime | str | None,
        end: dt.date | dt.datetime | str | None,
        site: str | None,
        known_on: dt.datetime | None,
    ) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Return the levels and wells that were asked for, daily means of loggers among the levels."""
        codes = None if wells is None else list(wells)
        chosen = {"site": site, "aquifer": aquifer, "start": start, "end": end, "known_on": known_on}
        levels = self.levels(codes, loggers="daily", **chosen)
        with self.store.reading() as connection:
            asked = fetch.wells(connection, known_on, site)
        if codes is not None:
            asked = asked[asked["well"].isin(codes)]
        if aquifer is not None:
            asked = asked[asked["aquifer"] == aquifer]
        return levels, asked
