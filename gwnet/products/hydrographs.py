"""Hydrographs and the chart of coverage, drawn from the record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.thresholds.record import limits_of
from gwnet.figures.coverage.draw import CoveragePlotData, coverage_pages, coverage_plot_data, draw_coverage
from gwnet.figures.hydrograph.draw import common_span, draw_hydrograph, hydrograph_plot_data, hydrograph_sheet
from gwnet.products.logger_series import coverage, logger_series
from gwnet.products.product import Product
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Height of one hydrograph among several, and of the page around them [mm].
_EACH_MM = 70.0
_AROUND_MM = 25.0
_WIDTH_MM = 180.0


def hydrograph_figure(
    record: Snapshot,
    wells: list[str],
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    unit: str = "m",
    loggers: bool = True,
) -> Figure:
    """Draw the hydrograph of one well, or of several under each other on one vertical span.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : list of str
        Wells, from top to bottom.
    start, end : datetime.date, optional
        First and last local date; the whole record unless given.
    unit : str, optional
        Unit of the axes, m or ft.
    loggers : bool, optional
        Whether the heads of loggers are drawn under the manual readings.

    Returns
    -------
    matplotlib.figure.Figure
        The figure. Rainfall and abstraction are drawn below it where the site has them and one well is drawn.
    """
    table = levels(record, Selection.of(sorted(wells)))
    limits = limits_of(record)
    limits = limits[limits["well"].isin(wells)]
    names = record.aquifers.set_index("aquifer")["name"]
    aquifer_of = record.wells.set_index("well")["aquifer"]
    series = logger_series(record, wells) if loggers else {}
    # One span for all: side by side, wells are compared by eye, and a stretched axis makes a quiet well look lively.
    span = common_span([table], thresholds=limits, series=series, unit=unit)
    drawn = [
        hydrograph_plot_data(
            table,
            well,
            measuring_points=record.measuring_points,
            construction=record.construction,
            thresholds=limits,
            site=record.settings,
            wells=record.wells,
            unit=unit,
            span=span,
            start=start,
            end=end,
            series=series.get(well),
            # Strips of rain and pumping under each of several wells would leave no height for their levels.
            context=record.context if len(wells) == 1 and not record.context.empty else None,
            aquifer_name=str(names.get(aquifer_of[well], "")),
            known_on=record.state,
        )
        for well in wells
    ]
    if len(drawn) == 1:
        return draw_hydrograph(drawn[0])
    return hydrograph_sheet(drawn, size_mm=(_WIDTH_MM, _AROUND_MM + _EACH_MM * len(drawn)))


@dataclass(frozen=True, eq=False, repr=False)
class CoverageChart(Product):
    """Who has data when, on as many pages as the rows take.

    Attributes
    ----------
    data : gwnet.figures.coverage.data.CoveragePlotData
        Rows and axis of the chart.
    """

    data: CoveragePlotData

    @property
    def table(self) -> pd.DataFrame:
        """Return the share of the time installed that has samples, and the manual readings, a row a logger and well."""
        rows = [(row.well, row.instrument, 100.0 * row.share, len(row.hands)) for row in self.data.rows]
        return pd.DataFrame(rows, columns=["well", "instrument", "coverage_percent", "manual_readings"])

    def figure(self) -> Figure:
        """Return the first page of the chart."""
        return draw_coverage(coverage_pages(self.data)[0])

    def figures(self) -> list[Figure]:
        """Return the pages of the chart."""
        return [draw_coverage(page) for page in coverage_pages(self.data)]


def coverage_chart(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    loggers_only: bool = False,
) -> CoverageChart:
    """Return the chart of which logger has samples when, and which well manual readings.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str, optional
        Only these wells; barometers stay.
    start, end : datetime.date, optional
        First and last local date; from the first logger on unless given.
    loggers_only : bool, optional
        Whether wells in which no logger was installed are left out.

    Returns
    -------
    CoverageChart
        The chart.
    """
    found = coverage(record, wells, loggers_only=loggers_only)
    return CoverageChart(
        coverage_plot_data(
            found.deployments,
            found.runs,
            found.hands,
            site=record.settings,
            start=start,
            end=end,
            known_on=record.state,
        )
    )
