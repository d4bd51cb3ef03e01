"""Trends of levels: tests of wells and aquifers, steps, dates of thresholds, figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.errors import SettingsError
from gwnet.network.base import Group, Instant, Moment, Wells, codes_of, day_or_instant, same_parameters
from gwnet.network.levels import levels_of
from gwnet.records import RecordState, Selection
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from gwnet.analysis.series.trend_records import Memories
    from gwnet.products.trends import TrendFigures


@dataclass(frozen=True, eq=False)
class Inputs:
    """What statistics of wells are worked out from.

    Attributes
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    levels : pandas.DataFrame
        As `gwnet.analysis.levels.table.levels`, daily means of loggers among them.
    wells : pandas.DataFrame
        As `gwnet.store.fetch.registry.wells`: which wells are asked for.
    span : tuple
        First and last day or instant that are asked for; None where the record is not restricted.
    """

    record: Snapshot
    levels: pd.DataFrame
    wells: pd.DataFrame
    span: tuple[dt.date | dt.datetime | None, dt.date | dt.datetime | None]

    def memory(self, *, alone: bool, approved: bool) -> Memories | None:
        """Return what the other wells of the aquifers say of the serial correlation of each; None where all are alone.

        Parameters
        ----------
        alone : bool
            Whether each well is judged by its own record.
        approved : bool
            Whether only approved levels take part.
        """
        from gwnet.analysis.series.trend_memory import shared_memory

        if alone:
            return None
        start, end = self.span
        # Correlation is estimated from the whole record; levels from a start on are not all of it.
        at_hand = self.levels if start is None else None
        return shared_memory(self.record, self.wells, at_hand, end=end, approved=approved)

    def limits(self) -> pd.DataFrame:
        """Return the thresholds in force of the wells that are asked for, with their elevations."""
        from gwnet.analysis.thresholds.record import limits_in_force, limits_of

        return limits_in_force(limits_of(self.record), self.wells)

    @property
    def known_on(self) -> RecordState | None:
        """Return the moment of the record that is printed."""
        return self.record.state


class WellStatistics(Group):
    """Statistics of the levels of wells."""

    @contextmanager
    def _inputs(
        self,
        wells: Wells,
        aquifer: str | None,
        start: Moment,
        end: Moment,
        site: str | None,
        known_on: Instant,
        *,
        one_site: bool = False,
    ) -> Iterator[Inputs]:
        """Give the levels and wells that are asked for."""
        codes = codes_of(wells)
        chosen = Selection.of(codes, aquifer=aquifer, start=day_or_instant(start), end=day_or_instant(end))
        with self._record(site, known_on, one_site=one_site, wells=codes, aquifer=aquifer) as record:
            frame = record.wells
            if codes is not None:
                frame = frame[frame["well"].isin(codes)]
            if aquifer is not None:
                frame = frame[frame["aquifer"] == aquifer]
            yield Inputs(record, levels_of(record, chosen, "daily"), frame, (chosen.start, chosen.end))


class Trends(WellStatistics):
    """Trends of the levels of wells."""

    _path = "net.trends"

    @contextmanager
    def _tested(
        self, *, method: str, seasons: int, approved: bool, alone: bool, **asked: Any
    ) -> Iterator[tuple[Inputs, dict[str, Any]]]:
        """Give the levels and wells that are asked for, and how they are tested."""
        with self._inputs(**asked) as given:
            memory = given.memory(alone=alone, approved=approved)
            yield given, {"method": method, "seasons": seasons, "approved": approved, "memory": memory}

    @contextmanager
    def _unshared(
        self, table: str, *, method: str, seasons: int, approved: bool, alone: bool, **asked: Any
    ) -> Iterator[tuple[Inputs, dict[str, Any]]]:
        """Give the same for a table in which wells share no serial correlation; refuse to judge them alone there."""
        if alone:
            message = f"The table {table} shares no serial correlation among wells, so that alone says nothing there."
            raise SettingsError(message, fix="Leave it out.")
        with self._inputs(**asked) as given:
            yield given, {"method": method, "seasons": seasons, "approved": approved}

    def __call__(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        approved: bool = False,
        alone: bool = False,
    ) -> pd.DataFrame:
        """Test the levels of wells for monotonic trends, one row a well.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        method : str, optional
            ``seasonal`` (each season with its own kind), ``kendall`` (one value a year), ``all`` (every value, with
            the variance corrected for autocorrelation) or ``regression`` (straight line by least squares, as for
            independent values).
        seasons : int, optional
            Seasons of a year, 4 or 12.
        alone : bool, optional
            Whether each well is judged by its own record alone, without the serial correlation of the other wells of
            its aquifer.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trends.trends`; ``p_adjusted`` is for the wells that are tested together.
        """
        from gwnet.analysis.series.trends import VALUE_METHODS, trends

        with self._inputs(wells, aquifer, start, end, site, known_on) as given:
            # Methods by values do not take it, and it takes long to work out.
            memory = given.memory(alone=alone or method in VALUE_METHODS, approved=approved)
            how: Any = {"method": method, "seasons": seasons, "approved": approved, "memory": memory}
            return in_unit(trends(given.levels, given.wells, **how), unit)

    @same_parameters(__call__)
    def pooled(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Test the wells of each aquifer together for one trend, one row an aquifer.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_pooled.pooled_trends`.

        Raises
        ------
        SettingsError
            If wells are to be judged alone.
        """
        from gwnet.analysis.series.trend_pooled import pooled_trends

        with self._unshared("pooled", **asked) as (given, how):
            return in_unit(pooled_trends(given.levels, given.wells, **how), unit)

    @same_parameters(__call__)
    def thresholds(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Project the trends of wells to their thresholds in force, one row a well and threshold.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_thresholds.threshold_dates`.
        """
        from gwnet.analysis.series.trend_thresholds import threshold_dates

        with self._tested(**asked) as (given, how):
            return in_unit(threshold_dates(given.levels, given.limits(), **how), unit)

    @same_parameters(__call__)
    def summary(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Say of each well which way it goes, since when, until when, and what to do; the most urgent first.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_summary.trend_summary`.
        """
        from gwnet.analysis.series.trend_summary import trend_summary

        with self._tested(**asked) as (given, how):
            return in_unit(trend_summary(given.levels, given.wells, given.limits(), **how), unit)

    @same_parameters(__call__)
    def without_context(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Fit trends of wells with the rainfall and abstraction on record taken out, beside those with them.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_context.context_trends`.
        """
        from gwnet.analysis.series.trend_context import context_trends

        with self._tested(**asked) as (given, how):
            return in_unit(context_trends(given.levels, given.wells, given.record.context, **how), unit)

    @same_parameters(__call__)
    def steps(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Test the levels of wells for steps: the most likely one, and those at moments on record.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.trend_steps.trend_steps`.

        Raises
        ------
        SettingsError
            If wells are to be judged alone: steps always are.
        """
        from gwnet.analysis.series.trend_moments import find_moments
        from gwnet.analysis.series.trend_steps import trend_steps

        with self._unshared("steps", **asked) as (given, how):
            return in_unit(trend_steps(given.levels, given.wells, find_moments(given.record), **how), unit)

    @same_parameters(__call__)
    def changes(self, *, unit: str, **asked: Any) -> pd.DataFrame:
        """Find the steps of the levels of wells, one or several each, with the intervals of their dates.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.series.level_changes.level_changes`.

        Raises
        ------
        SettingsError
            If wells are to be judged alone: steps always are.
        """
        from gwnet.analysis.series.level_changes import level_changes

        with self._unshared("changes", **asked) as (given, how):
            return in_unit(level_changes(given.levels, given.wells, **how), unit)

    def left_out(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        approved: bool = False,
    ) -> pd.DataFrame:
        """List the levels that take no part in trends, each with its reason.

        Parameters as `gwnet.network`.

        Returns
        -------
        pandas.DataFrame
            As `gwnet.analysis.levels.serving.left_out_levels`; provisional levels are among them with ``approved``.
        """
        from gwnet.analysis.levels.serving import left_out_levels

        with self._inputs(wells, aquifer, start, end, site, known_on) as given:
            return in_unit(left_out_levels(given.levels, approved=approved), unit)

    def figure(
        self,
        wells: Wells = None,
        *,
        aquifer: str | None = None,
        method: str = "seasonal",
        seasons: int = 4,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        approved: bool = False,
        alone: bool = False,
        smooth: bool = False,
    ) -> TrendFigures:
        """Test wells of one site for trends and draw them.

        Parameters as `gwnet.network` and `gwnet.network.trends.Trends.__call__`.

        Parameters
        ----------
        smooth : bool, optional
            Whether the levels of each well are drawn with a smooth line (LOWESS).

        Returns
        -------
        gwnet.products.trends.TrendFigures
            ``table`` in the unit of the figures; ``figure()`` draws one well or the ranked slopes of several, ``map()``
            the slopes on a map, ``multiples()`` small panels of all wells.

        Raises
        ------
        NotFoundError
            If a site, well or aquifer is not on record, or the record holds several sites and none is named.
        SettingsError
            If the method is ``regression``, of which there are no figures.
        """
        from gwnet.analysis.series.trends import trends

        if method == "regression":
            message = "Figures draw slopes and lines of tests by ranks, not those of method 'regression'."
            raise SettingsError(message, fix="Take seasonal, kendall or all for a figure.")
        from gwnet.products.maps import map_context
        from gwnet.products.trends import TrendFigures

        with self._inputs(wells, aquifer, start, end, site, known_on, one_site=True) as given:
            memory = given.memory(alone=alone or method == "all", approved=approved)
            how: Any = {"method": method, "seasons": seasons, "approved": approved, "memory": memory}
            table = trends(given.levels, given.wells, **how)
            # While the record is open: maps are drawn when somebody asks for them.
            context = map_context(given.record)
            return TrendFigures(table, given.levels, given.wells, context, unit=unit, smooth=smooth, **how)
