"""Seasons of wells: statistics of months and days, the newest level's percentile, decomposition, figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.network.base import Instant, Moment, Wells, day_or_instant, same_parameters
from gwnet.network.levels import levels_of
from gwnet.network.trends import WellStatistics
from gwnet.records import Selection

if TYPE_CHECKING:
    from gwnet.products.seasons import Decomposition, SeasonFigures


class Seasons(WellStatistics):
    """Seasons of the levels of wells."""

    _path = "net.seasons"

    def __call__(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        value: str = "median",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Return the statistics of the calendar months, one row a well and month, with the newest level of each month.

        Parameters as `gwnet.network`; rows as `gwnet.analysis.series.seasons.seasons`.

        Parameters
        ----------
        least_years : int, optional
            Fewest years with a value for which a month has percentiles.
        definition : str, optional
            Definition of percentiles: ``weibull`` (rank over n + 1) or ``linear``.
        value : str, optional
            How the days of a month give one value: ``median`` or ``middle`` (the day nearest to the month's middle).
        """
        from gwnet.analysis.series.seasons import seasons

        with self._inputs(wells, aquifer, start, end, site, known_on) as given:
            how: Any = {"least_years": least_years, "definition": definition, "value": value, "approved": approved}
            return in_unit(seasons(given.levels, given.wells, **how), unit)

    @same_parameters(__call__)
    def summary(
        self, *, unit: str, least_years: int, definition: str, value: str, approved: bool, **asked: Any
    ) -> pd.DataFrame:
        """Return newest level with its percentile, annual cycle and records, one row a well.

        Parameters as `gwnet.network` and `gwnet.network.seasons.Seasons.__call__`; rows as
        `gwnet.analysis.series.seasons.season_summary`.
        """
        from gwnet.analysis.series.seasons import season_summary

        with self._inputs(**asked) as given:
            how: Any = {"least_years": least_years, "definition": definition, "value": value, "approved": approved}
            return in_unit(season_summary(given.levels, given.wells, **how), unit)

    def daily(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        least_years: int = 10,
        definition: str = "weibull",
        approved: bool = False,
    ) -> pd.DataFrame:
        """Return percentiles of the days of the year, one row a well and day.

        Parameters as `gwnet.network` and `gwnet.network.seasons.Seasons.__call__`; rows as
        `gwnet.analysis.series.daily_seasons.daily_seasons`.
        """
        from gwnet.analysis.series.daily_seasons import daily_seasons

        with self._inputs(wells, aquifer, start, end, site, known_on) as given:
            how: Any = {"least_years": least_years, "definition": definition, "approved": approved}
            return in_unit(daily_seasons(given.levels, given.wells, **how), unit)

    def decomposition(
        self,
        well: str,
        *,
        seasons: int | None = None,
        robust: bool = True,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        value: str = "median",
        approved: bool = False,
    ) -> Decomposition:
        """Decompose the levels of a well into trend, season and remainder.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        well : str
            Code of the well.
        seasons : int, optional
            Steps of a year, 12 or 4; months unless too many of them have no level.
        robust : bool, optional
            Whether values that do not fit lose weight.
        value : str, optional
            How the days of a step give one value: ``median`` or ``middle``.

        Returns
        -------
        gwnet.products.seasons.Decomposition
            ``table`` has the components; ``result`` their notes and lengths.

        Raises
        ------
        TooFewLevelsError
            If no stretch of the record is long and full enough.
        """
        from gwnet.analysis.series.decomposition import well_decomposition
        from gwnet.products.maps import map_context
        from gwnet.products.seasons import Decomposition

        chosen = Selection.of([well], start=day_or_instant(start), end=day_or_instant(end))
        with self._record(site, known_on, one_site=True, wells=[well]) as record:
            levels = levels_of(record, chosen)
            result = well_decomposition(levels, seasons=seasons, robust=robust, value=value, approved=approved)
            return Decomposition(result, map_context(record), unit)

    @same_parameters(__call__)
    def figure(
        self, *, unit: str, least_years: int, definition: str, value: str, approved: bool, **asked: Any
    ) -> SeasonFigures:
        """Draw the newest year of wells over the range and percentiles of each calendar month.

        Parameters as `gwnet.network` and `gwnet.network.seasons.Seasons.__call__`.

        Returns
        -------
        gwnet.products.seasons.SeasonFigures
            ``table`` has the statistics of the months; ``figures()`` are pages of three wells.

        Raises
        ------
        TooFewLevelsError
            If no well has a level that can be used.
        """
        from gwnet.analysis.series.seasons import seasons
        from gwnet.products.maps import map_context
        from gwnet.products.seasons import SeasonFigures, envelope_figures

        with self._inputs(**asked, one_site=True) as given:
            how: Any = {"least_years": least_years, "definition": definition, "value": value, "approved": approved}
            pages = envelope_figures(map_context(given.record), given.levels, given.wells, unit=unit, **how)
            return SeasonFigures(in_unit(seasons(given.levels, given.wells, **how), unit), pages)
