"""Figures of seasons: monthly envelopes, and levels decomposed into trend, season and remainder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.decomposition import WellDecomposition
from gwnet.analysis.series.seasons import season_summary, seasons
from gwnet.errors import TooFewLevelsError
from gwnet.figures.series.decomposition import decomposition_plot_data, draw_decomposition
from gwnet.figures.series.seasons import seasons_pages, seasons_plot_data
from gwnet.products.product import Product

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.figures.maps.context import MapContext


@dataclass(frozen=True, eq=False, repr=False)
class SeasonFigures(Product):
    """Statistics of the months of wells with what is drawn of them.

    Attributes
    ----------
    table : pandas.DataFrame
        As `gwnet.analysis.series.seasons.seasons`, in the unit of the figures.
    pages : list of matplotlib.figure.Figure
        One well alone, or three a page.
    """

    table: pd.DataFrame
    pages: list[Figure]

    def figure(self) -> Figure:
        """Return the first page."""
        return self.pages[0]

    def figures(self) -> list[Figure]:
        """Return the pages."""
        return self.pages


@dataclass(frozen=True, eq=False, repr=False)
class Decomposition(Product):
    """Levels of a well decomposed into trend, season and remainder.

    Attributes
    ----------
    result : gwnet.analysis.series.decomposition.WellDecomposition
        Components in metres, and notes.
    context : gwnet.figures.maps.context.MapContext
        Site and record.
    unit : str
        Unit of table and figure, m or ft.
    """

    result: WellDecomposition
    context: MapContext
    unit: str = "m"

    @property
    def table(self) -> pd.DataFrame:
        """Return the components, one row a step of time."""
        return in_unit(self.result.frame(), self.unit)

    def figure(self) -> Figure:
        """Return the levels and their components as a figure."""
        data = decomposition_plot_data(
            self.result.frame(),
            self.result.well,
            period=self.result.parts.period,
            robust=self.result.robust,
            notes=self.result.notes,
            site=self.context.site,
            unit=self.unit,
            known_on=self.context.known_on,
        )
        return draw_decomposition(data)


def envelope_figures(
    context: MapContext,
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    least_years: int = 10,
    definition: str = "weibull",
    value: str = "median",
    approved: bool = False,
    unit: str = "m",
) -> list[Figure]:
    """Draw the newest year of wells over the range and percentiles of each calendar month.

    Parameters
    ----------
    context : gwnet.figures.maps.context.MapContext
        Site and record.
    levels : pandas.DataFrame
        Reduced levels of the wells, in metres.
    wells : pandas.DataFrame
        Columns site and well: which wells, in this order; those without a level that can be used are passed over.
    least_years, definition, value, approved : optional
        As in `gwnet.analysis.series.seasons.seasons`.
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
    how: dict[str, Any] = {"least_years": least_years, "definition": definition, "value": value}
    statistics = seasons(levels, wells, approved=approved, **how)
    summary = season_summary(levels, wells, approved=approved, **how)
    with_levels = summary[summary["n"] > 0]
    if with_levels.empty:
        message = "None of the wells has a level that can be used, so no seasons can be drawn."
        raise TooFewLevelsError(message, fix="Name a well with levels, or a longer time.")
    used, _ = used_levels(levels, approved=approved)
    # The figure says how many of the levels are approved.
    used = used.join(levels["review"])
    drawn = [
        seasons_plot_data(
            statistics,
            used,
            str(row["well"]),
            summary=row,
            site=context.site,
            unit=unit,
            **how,
            known_on=context.known_on,
        )
        for row in with_levels.to_dict("records")
    ]
    return seasons_pages(drawn)
