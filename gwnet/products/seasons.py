"""Figures of seasons drawn from the record: monthly envelopes, and levels parted into trend, season and remainder."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.decomposition import WellDecomposition
from gwnet.analysis.series.seasons import season_summary, seasons
from gwnet.errors import TooFewLevelsError
from gwnet.figures.series.decomposition import decomposition_plot_data, draw_decomposition
from gwnet.figures.series.seasons import seasons_pages, seasons_plot_data
from gwnet.store.fetch import registry as fetch

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def envelope_figures(
    connection: Connection,
    settings: pd.Series,
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    least_years: int = 10,
    definition: str = "weibull",
    value: str = "median",
    approved: bool = False,
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> list[Figure]:
    """Draw the newest year of wells over the range and percentiles of each calendar month.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        Site, as a row of `gwnet.store.fetch.registry.sites`.
    levels : pandas.DataFrame
        Reduced levels of the wells, in metres.
    wells : pandas.DataFrame
        Columns site and well: which wells, in this order; those without a level that can be used are passed over.
    least_years, definition, value, approved : optional
        As in `gwnet.analysis.series.seasons.seasons`.
    known_on : datetime.datetime, optional
        Record as known at this time.
    unit : str, optional
        Unit of the axes, m or ft.

    Returns
    -------
    list of matplotlib.figure.Figure
        Pages: one well alone, or three a page.

    Raises
    ------
    TooFewLevelsError
        If no well has a level that can be used.
    """
    statistics = seasons(levels, wells, least_years=least_years, definition=definition, value=value, approved=approved)
    summary = season_summary(
        levels, wells, least_years=least_years, definition=definition, value=value, approved=approved
    )
    with_levels = summary[summary["n"] > 0]
    if with_levels.empty:
        message = "None of the wells has a level that can be used, so no seasons can be drawn."
        raise TooFewLevelsError(message, fix="Name a well with levels, or a longer time.")
    used, _ = used_levels(levels, approved=approved)
    used = used.join(levels["review"])
    drawn = [
        seasons_plot_data(
            statistics,
            used,
            str(row["well"]),
            summary=row,
            site=settings,
            unit=unit,
            definition=definition,
            least_years=least_years,
            value=value,
            known_on=known_on or fetch.cut_off(connection),
        )
        for row in with_levels.to_dict("records")
    ]
    return seasons_pages(drawn)


def decomposition_figure(
    connection: Connection,
    settings: pd.Series,
    found: WellDecomposition,
    *,
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> Figure:
    """Draw the levels of a well parted into trend, season and remainder.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    settings : pandas.Series
        Site, as a row of `gwnet.store.fetch.registry.sites`.
    found : gwnet.analysis.series.decomposition.WellDecomposition
        The parts.
    known_on : datetime.datetime, optional
        Record as known at this time.
    unit : str, optional
        Unit of the axes, m or ft.

    Returns
    -------
    matplotlib.figure.Figure
        The figure.
    """
    data = decomposition_plot_data(
        found.frame(),
        found.well,
        period=found.parts.period,
        robust=found.robust,
        notes=found.notes,
        site=settings,
        unit=unit,
        known_on=known_on or fetch.cut_off(connection),
    )
    return draw_decomposition(data)
