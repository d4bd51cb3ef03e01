"""Hydrographs and the chart of coverage, drawn from the record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.thresholds import with_elevations
from gwnet.figures.coverage.draw import coverage_plot_data, draw_coverage
from gwnet.figures.hydrograph.draw import common_span, draw_hydrograph, hydrograph_plot_data, hydrograph_sheet
from gwnet.products.logger_series import coverage, logger_series
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
    limits = thresholds_with_elevations(record)
    limits = limits[limits["well"].isin(wells)]
    names = record.aquifers.set_index("aquifer")["name"]
    aquifer_of = record.wells.set_index("well")["aquifer"]
    series = logger_series(record, wells) if loggers else {}
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
            context=record.context if len(wells) == 1 and not record.context.empty else None,
            aquifer_name=str(names.get(aquifer_of[well], "")),
            known_on=record.state,
        )
        for well in wells
    ]
    if len(drawn) == 1:
        return draw_hydrograph(drawn[0])
    return hydrograph_sheet(drawn, size_mm=(_WIDTH_MM, _AROUND_MM + _EACH_MM * len(drawn)))


def thresholds_with_elevations(record: Snapshot) -> pd.DataFrame:
    """Return the thresholds of a site as water elevations.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.levels.thresholds.with_elevations`; made once, so not to be changed in place.
    """
    return record.once(
        "thresholds with elevations",
        lambda: with_elevations(record.thresholds, record.wells, record.measuring_points),
    )


def coverage_figure(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    loggers_only: bool = False,
) -> Figure:
    """Draw which logger has samples when, and which well manual readings.

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
    matplotlib.figure.Figure
        The chart.
    """
    found = coverage(record, wells, loggers_only=loggers_only)
    return draw_coverage(
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
