"""The part of the face for programs that tells the seasons of wells."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.series.decomposition import WellDecomposition
    from gwnet.store.session import Store


class Seasoning:
    """Seasons of wells; `gwnet.network.Network` has these methods.

    Attributes
    ----------
    store : gwnet.store.session.Store
        Open database.
    levels : callable
        The network's own levels.
    """

    store: Store
    levels: Callable[..., pd.DataFrame]
    _trend_inputs: Callable[..., tuple[pd.DataFrame, pd.DataFrame]]

    def seasons(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        value: str = "median",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Return the statistics of the calendar months, one row a well and month, with the newest level of each month.

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
        least_years : int, optional
            Fewest years with a value for which a month has percentiles.
        definition : str, optional
            Definition of percentiles: ``weibull`` (rank over n + 1) or ``linear``.
        value : str, optional
            How the days of a month give one value: ``median`` or ``middle`` (the day nearest to the month's middle).
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.seasons.seasons`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the unit, definition, value or number of years cannot be used.
        """
        from gwnet.analysis.series.seasons import seasons

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        table = seasons(levels, asked, least_years=least_years, definition=definition, value=value, approved=approved)
        return in_unit(table, unit)

    def season_summary(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        value: str = "median",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Return newest level with its percentile, annual cycle and records, one row a well.

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
        least_years : int, optional
            Fewest years with a value of the newest level's month for which its percentile is given.
        definition : str, optional
            Definition of percentiles: ``weibull`` (rank over n + 1) or ``linear``.
        value : str, optional
            How the days of a month give one value: ``median`` or ``middle``.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.seasons.season_summary`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the unit, definition, value or number of years cannot be used.
        """
        from gwnet.analysis.series.seasons import season_summary

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        table = season_summary(
            levels, asked, least_years=least_years, definition=definition, value=value, approved=approved
        )
        return in_unit(table, unit)

    def daily_seasons(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Return percentiles of the days of the year, one row a well and day.

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
        least_years : int, optional
            Fewest years with a level near a day for which it has percentiles.
        definition : str, optional
            Definition of percentiles: ``weibull`` or ``linear``.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.daily_seasons.daily_seasons`.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record.
        SettingsError
            If the unit, definition or number of years cannot be used.
        """
        from gwnet.analysis.series.daily_seasons import daily_seasons

        levels, asked = self._trend_inputs(wells, aquifer, start, end, site, known_on)
        table = daily_seasons(levels, asked, least_years=least_years, definition=definition, approved=approved)
        return in_unit(table, unit)

    def decomposition(
        self,
        well: str,
        *,
        seasons: int | None = None,
        robust: bool = True,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        value: str = "median",
        approved: bool = False,
    ) -> WellDecomposition:
        """Part the levels of a well into trend, season and remainder.

        Parameters
        ----------
        well : str
            Code of the well.
        seasons : int, optional
            Steps of a year, 12 or 4; months unless too many of them have no level.
        robust : bool, optional
            Whether values that do not fit lose weight.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Code of the site, where several have a well of this code.
        known_on : datetime.datetime, optional
            Record as known at this time.
        value : str, optional
            How the days of a step give one value: ``median`` or ``middle``.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        gwnet.analysis.series.decomposition.WellDecomposition
            Parts in metres, and notes; its ``frame()`` gives them as rows.

        Raises
        ------
        NotFoundError
            If the site or well is not on record.
        TooFewLevelsError
            If no stretch of the record is long and full enough.
        """
        from gwnet.analysis.series.decomposition import well_decomposition

        levels = self.levels([well], site=site, start=start, end=end, known_on=known_on)
        return well_decomposition(levels, seasons=seasons, robust=robust, value=value, approved=approved)

    def seasons_figures(
        self,
        wells: Sequence[str] | None = None,
        *,
        aquifer: str | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        value: str = "median",
        approved: bool = False,
    ) -> list[Figure]:
        """Draw the newest year of wells over the range and percentiles of each calendar month.

        Parameters
        ----------
        wells : sequence of str, optional
            Codes of wells of one site; all unless given.
        aquifer : str, optional
            Only wells of this aquifer.
        start, end : date, datetime or str, optional
            First and last local date (both included), or instants.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the axes, m or ft.
        least_years : int, optional
            Fewest years with a value for which a month has percentiles.
        definition : str, optional
            Definition of percentiles: ``weibull`` or ``linear``.
        value : str, optional
            How the days of a month give one value: ``median`` or ``middle``.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        list of matplotlib.figure.Figure
            Pages; `gwnet.figures.base.panel.save_all` writes them.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record, or the record holds several sites and none is named.
        TooFewLevelsError
            If no well has a level that can be used.
        """
        from gwnet.products.maps import map_context
        from gwnet.products.seasons import envelope_figures

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            levels, asked = self._trend_inputs(wells, aquifer, start, end, record.site, known_on)
            chosen: dict[str, Any] = {
                "least_years": least_years,
                "definition": definition,
                "value": value,
                "approved": approved,
            }
            return envelope_figures(map_context(record), levels, asked, unit=unit, **chosen)

    def decomposition_figure(
        self,
        well: str,
        *,
        seasons: int | None = None,
        robust: bool = True,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        site: str | None = None,
        known_on: dt.datetime | None = None,
        unit: str = "m",
        value: str = "median",
        approved: bool = False,
    ) -> Figure:
        """Draw the levels of a well parted into trend, season and remainder.

        Parameters
        ----------
        well : str
            Code of the well.
        seasons, robust, start, end : optional
            As in `decomposition`.
        site : str, optional
            Code of the site; may be left out when the record holds only one.
        known_on : datetime.datetime, optional
            Record as known at this time.
        unit : str, optional
            Unit of the axes, m or ft.
        value : str, optional
            How the days of a step give one value: ``median`` or ``middle``.
        approved : bool, optional
            Whether only approved levels take part; provisional ones do as well unless said.

        Returns
        -------
        matplotlib.figure.Figure
            The figure; `save_figure` writes it.

        Raises
        ------
        NotFoundError
            If the site or well is not on record.
        TooFewLevelsError
            If no stretch of the record is long and full enough.
        """
        from gwnet.products.maps import map_context
        from gwnet.products.seasons import decomposition_figure

        with self.store.reading() as connection:
            record = Snapshot(connection, known_on).of_site(site)
            found = self.decomposition(
                well,
                seasons=seasons,
                robust=robust,
                start=start,
                end=end,
                site=record.site,
                known_on=known_on,
                value=value,
                approved=approved,
            )
            return decomposition_figure(map_context(record), found, unit=unit)
