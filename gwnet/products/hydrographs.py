"""Hydrographs and the chart of coverage, drawn from the record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.thresholds import with_elevations
from gwnet.figures.coverage.draw import coverage_plot_data, draw_coverage
from gwnet.figures.hydrograph.draw import common_span, draw_hydrograph, hydrograph_plot_data, hydrograph_sheet
from gwnet.products.logger_series import coverage, logger_series
from gwnet.records import Selection
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Height of one hydrograph among several, and of the page around them [mm].
_EACH_MM = 70.0
_AROUND_MM = 25.0
_WIDTH_MM = 180.0


def hydrograph_figure(
    connection: Connection,
    settings: pd.Series,
    wells: list[str],
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    known_on: dt.datetime | None = None,
    unit: str = "m",
    loggers: bool = True,
) -> Figure:
    """Draw the hydrograph of one well, or of several under each other on one vertical span.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        Site, as a row of `gwnet.store.fetch.registry.sites`.
    wells : list of str
        Wells, from top to bottom.
    start, end : datetime.date, optional
        First and last local date; the whole record unless given.
    known_on : datetime.datetime, optional
        Record as known at this time.
    unit : str, optional
        Unit of the axes, m or ft.
    loggers : bool, optional
        Whether the heads of loggers are drawn under the manual readings.

    Returns
    -------
    matplotlib.figure.Figure
        The figure. Rainfall and abstraction stand below it where the site has them and one well is drawn.
    """
    site = str(settings["site"])
    table = levels(Snapshot(connection, known_on, site), Selection.of(wells))
    frame = fetch.wells(connection, known_on, site)
    points = fetch.measuring_points(connection, known_on, site)
    limits = with_elevations(fetch_programme.thresholds(connection, known_on, site), frame, points)
    limits = limits[limits["well"].isin(wells)]
    names = fetch.aquifers(connection, known_on).set_index("aquifer")["name"]
    aquifer_of = frame.set_index("well")["aquifer"]
    context = fetch_programme.context(connection, known_on, site)
    series = logger_series(connection, site, wells, known_on) if loggers else {}
    span = common_span([table], thresholds=limits, series=series, unit=unit)
    drawn = [
        hydrograph_plot_data(
            table,
            well,
            measuring_points=points,
            construction=fetch.construction(connection, known_on, site),
            thresholds=limits,
            site=settings,
            wells=frame,
            unit=unit,
            span=span,
            start=start,
            end=end,
            series=series.get(well),
            context=context if len(wells) == 1 and not context.empty else None,
            aquifer_name=str(names.get(aquifer_of[well], "")),
            known_on=known_on or fetch.cut_off(connection),
        )
        for well in wells
    ]
    if len(drawn) == 1:
        return draw_hydrograph(drawn[0])
    return hydrograph_sheet(drawn, size_mm=(_WIDTH_MM, _AROUND_MM + _EACH_MM * len(drawn)))


def coverage_figure(
    connection: Connection,
    settings: pd.Series,
    wells: Sequence[str] | None = None,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    loggers_only: bool = False,
    known_on: dt.datetime | None = None,
) -> Figure:
    """Draw which logger has samples when, and which well manual readings.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        Site, as a row of `gwnet.store.fetch.registry.sites`.
    wells : sequence of str, optional
        Only these wells; barometers stay.
    start, end : datetime.date, optional
        First and last local date; from the first logger on unless given.
    loggers_only : bool, optional
        Whether wells in which no logger hung are left out.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    matplotlib.figure.Figure
        The chart.
    """
    found = coverage(connection, str(settings["site"]), wells, loggers_only=loggers_only, known_on=known_on)
    return draw_coverage(
        coverage_plot_data(
            found.deployments,
            found.runs,
            found.hands,
            site=settings,
            start=start,
            end=end,
            known_on=known_on or fetch.cut_off(connection),
        )
    )
