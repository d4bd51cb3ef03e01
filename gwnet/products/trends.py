"""Figures of trends drawn from the record: one well, wells ranked by slope, a map of slopes, many small panels.

All come from one computation, which also gives the rows printed. In every one of them filled means a significant trend
after false-discovery control, hollow none; a bound keeps its own mark; what is left out is hollow. The line is the one
that thresholds are projected with. Small panels share one height that holds nine wells in ten; others say by how many
times theirs is larger. Several pages are one PDF, or pictures numbered from the second on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.analysis.levels.places import located
from gwnet.analysis.levels.serving import used_levels
from gwnet.analysis.series.trend_changes import find_level_changes
from gwnet.analysis.series.trend_lines import fit_line
from gwnet.analysis.series.trend_records import (
    Memories,
    WellRecord,
    decimal_years,
    level_of_line,
    longest_gap,
    smooth_line,
    well_records,
)
from gwnet.analysis.series.trends import parts_of_year
from gwnet.constants import DAYS_PER_YEAR
from gwnet.errors import TooFewLevelsError
from gwnet.figures.base.panel import approved_sentence, site_text
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.trend_map import draw_slope_map, slope_map_plot_data
from gwnet.figures.series.trend import draw_trend, trend_multiples
from gwnet.figures.series.trend_data import TrendLine, TrendPlotData, trend_plot_data
from gwnet.figures.series.trend_ranked import RankedPlotData, draw_ranked_page, ranked_pages, ranked_plot_data
from gwnet.products.product import Product

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Places at which the line and its band are worked out.
BAND_PLACES = 25


@dataclass(frozen=True, eq=False, repr=False)
class TrendFigures(Product):
    """Trends of wells of one site with what their figures are drawn from.

    Attributes
    ----------
    trends : pandas.DataFrame
        Trends in metres, as of `gwnet.analysis.series.trends.trends`.
    levels : pandas.DataFrame
        Reduced levels of the wells, in metres.
    wells : pandas.DataFrame
        Wells on record that were asked for.
    context : gwnet.figures.maps.context.MapContext
        Site and record.
    method : str
        ``seasonal``, ``kendall`` or ``all``.
    seasons : int
        Seasons of a year.
    approved : bool
        Whether only approved levels take part.
    unit : str
        Unit of the figures, m or ft.
    smooth : bool
        Whether levels of single wells have a smooth line.
    memory : mapping of (site, well) to gwnet.analysis.series.trend_records.SharedMemory or None
        What other wells say of the serial correlation of each; that of the trends.
    """

    trends: pd.DataFrame
    levels: pd.DataFrame
    wells: pd.DataFrame
    context: MapContext
    method: str
    seasons: int
    approved: bool
    unit: str
    smooth: bool = False
    memory: Memories | None = None

    @property
    def table(self) -> pd.DataFrame:
        """Return the trends in the unit of the figures."""
        return in_unit(self.trends, self.unit)

    def figures(self) -> list[Figure]:
        """Return the trend figure of a single well, or the ranked slopes of several on pages."""
        return [self.page(number) for number in range(self.pages())]

    def figure(self) -> Figure:
        """Return the first page of `figures`."""
        return self.page(0)

    def pages(self) -> int:
        """Return of how many pages `figures` is, without drawing them."""
        return 1 if len(self.trends) == 1 else ranked_pages(self._ranked())

    def page(self, number: int) -> Figure:
        """Return one page of `figures`.

        Parameters
        ----------
        number : int
            Which, from 0 on.
        """
        if len(self.trends) == 1:
            return draw_trend(self._of_wells()[0])
        return draw_ranked_page(self._ranked(), number)

    def _ranked(self) -> RankedPlotData:
        return ranked_plot_data(
            self.trends, site=self.context.site, unit=self.unit, notes=self._states(), known_on=self.context.known_on
        )

    def map(self) -> Figure:
        """Return the map of slopes."""
        data = slope_map_plot_data(
            self.trends,
            located(self.wells, str(self.context.site["crs"])),
            # Wells of several aquifers may be on one map of slopes.
            replace(self.context, aquifer_name=""),
            unit=self.unit,
            notes=self._states(),
        )
        return draw_slope_map(data)

    def multiples(self) -> list[Figure]:
        """Return small panels of all wells on pages."""
        own = self._of_wells()
        title = site_text(self.context.site)
        return trend_multiples(
            own,
            title=f"Trends of water levels, {title}" if title else "Trends of water levels",
            notes=[*self._states(), *self.context.known],
        )

    def _states(self) -> list[str]:
        """Return the sentence that tells how many of the levels that take part are approved."""
        used, _ = used_levels(self.levels, approved=self.approved)
        sentence = approved_sentence(self.levels.loc[used.index, "review"])
        return [sentence] if sentence else []

    def _of_wells(self) -> list[TrendPlotData]:
        """Return what the panels show, for every well with a level."""
        used, _ = used_levels(self.levels, approved=self.approved)
        with_taken = self.levels.assign(taken=self.levels.index.isin(used.index))
        records = well_records(used, 12 if self.method == "all" else parts_of_year(self.method, self.seasons))
        lines = {well: record for (_, well), record in records.items()}
        parts = 12 if self.method == "all" else self.seasons
        # The same records with what the other wells say of their serial correlation, which widens the band of the line.
        fitted = {well: record for (_, well), record in well_records(used, parts, self.memory).items()}
        numbered = self.levels["water_elevation_m"].notna()
        by_well = dict(list(with_taken[numbered].groupby("well")))
        drawn = [
            trend_plot_data(
                by_well[str(row["well"])],
                str(row["well"]),
                trend=row,
                line=_line_of(fitted.get(row["well"]), row),
                changes=_changes_of(fitted.get(row["well"])),
                smooth=smooth_line(lines[row["well"]]) if self.smooth and row["well"] in lines else None,
                site=self.context.site,
                unit=self.unit,
                known_on=self.context.known_on,
            )
            for row in self.trends.to_dict("records")
            if row["well"] in by_well
        ]
        if not drawn:
            message = "None of the wells has a level, so no trend can be drawn."
            raise TooFewLevelsError(message, fix="Name a well with levels, or a longer time.")
        return drawn


def _changes_of(record: WellRecord | None) -> tuple[tuple[float, str], ...]:
    """Return the days since 1970-01-01 of the steps of a record, and their words."""
    # Across a long gap a step and a slow change look alike; the medians beside the gap are drawn instead.
    found = [] if record is None or longest_gap(record) is not None else find_level_changes(record)
    return tuple(
        (float((np.datetime64(f"{step.year}-01-01") - np.datetime64("1970-01-01")).astype(np.int64)), step.words)
        for step in found
    )


def _line_of(record: WellRecord | None, row: Mapping[str, Any]) -> TrendLine | None:
    """Return the line of a record with its limits; None where the trends have no slope."""
    slope = float(row["slope_m_per_year"])
    if record is None or not math.isfinite(slope):
        return None
    ends = record.days[[0, -1]]
    start, end = (ends - np.datetime64("1970-01-01", "D")).astype(np.float64).tolist()
    days = np.linspace(start, end, BAND_PLACES)
    fitted = fit_line(record)
    # Too few values, or most of them bounds: a line with the slope of the test, and no band.
    if fitted is None:
        levels = np.array([level_of_line(record, slope, day) for day in ends])
        return TrendLine(days[[0, -1]], levels, np.full(2, math.nan), np.full(2, math.nan))
    return TrendLine(days, *fitted.band(decimal_years(ends)[0] + (days - start) / DAYS_PER_YEAR))
