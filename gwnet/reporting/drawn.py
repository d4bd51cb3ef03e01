"""The figures of a report as the project draws them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.figures.base.axes import day_number
from gwnet.figures.base.style import figure_bytes
from gwnet.figures.hydrograph.context_strips import ContextStrip, context_strips
from gwnet.figures.hydrograph.data import HydrographPlotData, hydrograph_plot_data
from gwnet.figures.hydrograph.strip_data import choose_strip_scale
from gwnet.figures.hydrograph.strips import draw_strips, fitting_strip_mm
from gwnet.figures.hydrograph.surroundings import LevelLine
from gwnet.figures.maps.aquifer_page import draw_aquifer_page
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.data import map_plot_data
from gwnet.figures.maps.high_low import draw_high_low
from gwnet.figures.maps.key_map import draw_key_map, key_height_mm
from gwnet.figures.maps.network_data import network_plot_data
from gwnet.figures.maps.network_map import draw_network_map
from gwnet.figures.maps.surface_map import draw_surface_map
from gwnet.figures.series.threshold_lanes import CrossingChart, ThresholdRow, draw_threshold_lanes
from gwnet.reporting.aquifer_map import aquifer_page, gradient_text, marked_map
from gwnet.reporting.content import DrawnFigure
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.drawing import HYDROGRAPHS_A_PAGE
from gwnet.reporting.key_map import key_map_data
from gwnet.reporting.mapped import describe_outside
from gwnet.reporting.threshold_page import lanes_span
from gwnet.reporting.year import KEY_WELLS, crossing_bars

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from gwnet.reporting.data import MapFacts
    from gwnet.reporting.drawing import FigureFrame
    from gwnet.reporting.view import ReportView


class ReportDrawing:
    """Draws maps and hydrographs for reports; every figure is one page of vector PDF with reproducible bytes.

    Parameters
    ----------
    pages : bool, optional
        Whether figures are drawn as SVG too.
    """

    def __init__(self, *, pages: bool = False) -> None:
        self._pages = pages
        self._view: ReportView | None = None
        self._scales: dict[tuple[str, float, tuple[str, ...]], float] = {}

    def network_map(self, view: ReportView, frame: FigureFrame, wells: pd.DataFrame | None = None) -> DrawnFigure:
        """Draw where the selected wells are.

        Parameters as `gwnet.reporting`.

        Parameters
        ----------
        wells : DataFrame, optional
            Those of them that are drawn; all unless given.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        stages = view.data.stages
        if wells is not None:
            stages = _near(stages, wells)
        data = network_plot_data(
            view.wells if wells is None else wells,
            _context(view),
            aquifers=view.data.aquifers,
            stages=stages,
            unit=frame.unit,
        )
        return drawn_figure(draw_network_map(data, size_mm=(frame.width_mm, frame.height_mm)), svg=self._pages)

    def potentiometric_map(self, view: ReportView, facts: MapFacts, frame: FigureFrame) -> DrawnFigure:
        """Draw one potentiometric map without method, findings in words and cautions, which the report's text has.

        Parameters as `gwnet.reporting`.

        Parameters
        ----------
        facts : MapFacts
            The map; its result is what the analysis made.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        outside = describe_outside(facts.control, view.period)
        title = f"Potentiometric surface with {outside}" if outside else "Potentiometric surface"
        data = map_plot_data(facts.result, _context(view, facts.aquifer), title=title)
        return drawn_figure(
            draw_surface_map(data, size_mm=(frame.width_mm, frame.height_mm), full_text=False), svg=self._pages
        )

    def aquifer_page(self, view: ReportView, facts: MapFacts, frame: FigureFrame) -> DrawnFigure:
        """Draw the page of an aquifer: map, changes at the wells, notes.

        Parameters as `gwnet.reporting`.

        Parameters
        ----------
        facts : MapFacts
            Its map, which was not refused.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        page = aquifer_page(view, facts, _context(view, facts.aquifer))
        return drawn_figure(draw_aquifer_page(page, size_mm=(frame.width_mm, frame.height_mm)), svg=self._pages)

    def key_map(self, view: ReportView, frame: FigureFrame) -> DrawnFigure:
        """Draw the key map of the cover, with its key.

        Parameters as `gwnet.reporting`.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        data, states, pumped = key_map_data(view, _context(view))
        size = (frame.width_mm, frame.height_mm)
        return drawn_figure(draw_key_map(data, states=states, pumped=pumped, size_mm=size), svg=self._pages)

    def key_height_mm(self, view: ReportView) -> float:
        """Return the height of the key beside the key map [mm].

        Parameters as `gwnet.reporting`.
        """
        return key_height_mm(*key_map_data(view, _context(view)))

    def thresholds(
        self,
        view: ReportView,
        rows: Sequence[ThresholdRow],
        charts: Sequence[CrossingChart],
        frame: FigureFrame,
    ) -> DrawnFigure:
        """Draw a page of thresholds.

        Parameters
        ----------
        view : ReportView
            The report's look at the record.
        rows : sequence of ThresholdRow
            From top to bottom.
        charts : sequence of CrossingChart
            Drawn below them.
        frame : FigureFrame
            Width on the page.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        period = view.period
        figure = draw_threshold_lanes(
            rows,
            charts,
            span=lanes_span(view),
            period=(day_number(period.first), day_number(period.last) + 1.0),
            closes=day_number(view.closes_on) + 1.0,
            unit=frame.unit,
            width_mm=frame.width_mm,
            room_mm=frame.height_mm,
        )
        return drawn_figure(figure, svg=self._pages)

    def high_low(
        self, view: ReportView, pair: tuple[MapFacts, MapFacts], named: Sequence[str], frame: FigureFrame
    ) -> DrawnFigure:
        """Draw high and low water of a year beside each other.

        Parameters as `gwnet.reporting`.

        Parameters
        ----------
        pair : tuple of MapFacts
            High and low water.
        named : sequence of str
            Wells that are named on the maps.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        maps = [marked_map(view, facts, _context(view, facts.aquifer)) for facts in pair]
        heads = [
            (f"{what}, {date_text(facts.day)}", gradient_text(facts).replace(" towards ", ", to "))
            for what, facts in zip(("High water", "Low water"), pair, strict=True)
        ]
        size = (frame.width_mm, frame.height_mm)
        figure = draw_high_low((maps[0], maps[1]), (heads[0], heads[1]), named=set(named), size_mm=size)
        return drawn_figure(figure, svg=self._pages)

    def year_strips(self, view: ReportView, wells: Sequence[str], frame: FigureFrame) -> DrawnFigure:
        """Draw the year of a few wells, with bars of crossing, rainfall and abstraction.

        Parameters as `gwnet.reporting`.

        Parameters
        ----------
        wells : sequence of str
            Wells from top to bottom.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        period, bars = view.period, crossing_bars(view, wells)
        first, last = day_number(period.first), day_number(period.last) + 1.0
        drawn = [replace(_strip(view, well, frame.unit, period.first), first=first, last=last) for well in wells]
        context = _context_under(view, first, last, frame.unit)
        room = frame.height_mm - 4.4 * len(bars)
        # Room for as many strips as a sheet may have, so that sheets of fewer wells have strips of the same height.
        strip_mm = fitting_strip_mm(room, max(len(wells), KEY_WELLS), len(context))
        figure = draw_strips(
            drawn,
            metres_per_cm=choose_strip_scale(drawn, strip_mm),
            width_mm=frame.width_mm,
            context=context,
            strip_mm=strip_mm,
            bars=bars,
        )
        return drawn_figure(figure, svg=self._pages)

    def hydrographs(
        self, view: ReportView, wells: Sequence[str], group: Sequence[str], frame: FigureFrame
    ) -> DrawnFigure:
        """Draw the hydrographs of a few wells under each other.

        Parameters
        ----------
        view : ReportView
            The report's look at the record.
        wells : sequence of str
            Wells to draw, from top to bottom.
        group : sequence of str
            Wells of the report, which share one vertical scale.
        frame : FigureFrame
            Room on the page of six wells.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        scale, strip_mm = self.strip_scale(view, group, frame), _strip_mm(view, frame)
        start = view.definition.hydrographs.start
        drawn = [_strip(view, well, frame.unit, start) for well in wells]
        # One axis of time for a sheet: strips under each other are compared day by day.
        first, last = min(data.first for data in drawn), max(data.last for data in drawn)
        drawn = [replace(data, first=first, last=last, levels=_stretched(data, first, last)) for data in drawn]
        period = view.period
        figure = draw_strips(
            drawn,
            metres_per_cm=scale,
            width_mm=frame.width_mm,
            context=_context_under(view, first, last, frame.unit),
            period=(day_number(period.first), day_number(period.last) + 1.0),
            strip_mm=strip_mm,
        )
        return drawn_figure(figure, svg=self._pages)

    def strip_scale(self, view: ReportView, group: Sequence[str], frame: FigureFrame) -> float:
        """Return the vertical scale that the hydrographs of a report share [m per cm], worked out once for all sheets.

        Parameters
        ----------
        view : ReportView
            The report's look at the record.
        group : sequence of str
            Wells of the report.
        frame : FigureFrame
            Room on the page of six wells.

        Returns
        -------
        float
            The finest round scale on which the strips fit.
        """
        # A drawing may serve another report afterwards, whose scales are its own.
        if self._view is not view:
            self._view, self._scales = view, {}
        key = (frame.unit, frame.height_mm, tuple(group))
        if key not in self._scales:
            drawn = [_strip(view, well, frame.unit, view.definition.hydrographs.start) for well in group]
            self._scales[key] = choose_strip_scale(drawn, _strip_mm(view, frame))
        return self._scales[key]


def _strip_mm(view: ReportView, frame: FigureFrame) -> float:
    """Return the height of a strip, the same on every page of a report [mm]."""
    context = view.data.context
    below = len(set(context["quantity"]) & {"rainfall", "abstraction"}) + bool(len(view.data.stages))
    return fitting_strip_mm(frame.height_mm, HYDROGRAPHS_A_PAGE, below)


def _strip(view: ReportView, well: str, unit: str, start: dt.date | None) -> HydrographPlotData:
    data = view.data
    return hydrograph_plot_data(
        _read_by_hand(view),
        well,
        measuring_points=data.measuring_points,
        construction=data.construction,
        thresholds=data.thresholds,
        site=_site(view),
        wells=view.wells,
        unit=unit,
        start=start,
        # No line is drawn over days of which nobody can know yet, when the period is not over.
        end=min(view.period.last, max(view.closes_on, view.period.first)),
        aquifer_name=_names(view).get(view.aquifer_of(well), ""),
        known_on=data.known_on,
        series=data.logger_lines.get(well),
    )


def _stretched(data: HydrographPlotData, first: float, last: float) -> tuple[LevelLine, ...]:
    """Return the lines of a well, those that hold to the ends of its axis drawn to the ends of the sheet's."""
    return tuple(
        replace(
            line,
            first=first if line.first <= data.first else line.first,
            last=last if line.last >= data.last else line.last,
        )
        for line in data.levels
    )


def _context_under(view: ReportView, first: float, last: float, unit: str) -> tuple[ContextStrip, ...]:
    data = view.data
    return context_strips(
        data.context,
        data.stages,
        first=first,
        last=last,
        known_until=view.closes_on,
        unit=unit,
        zone=data.site.time_zone,
    )


def drawn_figure(figure: Figure, *, svg: bool = False) -> DrawnFigure:
    """Return a figure as one page of vector PDF, and as SVG where asked for."""
    return DrawnFigure(figure_bytes(figure, "pdf"), figure_bytes(figure, "svg", letters=True) if svg else b"")


def _site(view: ReportView) -> dict[str, Any]:
    site = view.data.site
    return {
        "site": site.code,
        "name": site.name,
        "crs": site.crs,
        "vertical_datum": site.vertical_datum,
        "time_zone": site.time_zone,
    }


def _context(view: ReportView, aquifer: str = "") -> MapContext:
    unit_m = unit_of_coordinates(view.data.site.crs)
    return MapContext(_site(view), _names(view).get(aquifer, ""), view.data.known_on, unit_m, "the data annex")


def _names(view: ReportView) -> dict[str, str]:
    aquifers = view.data.aquifers
    return dict(zip(aquifers["aquifer"].astype(str), aquifers["name"].fillna("").astype(str), strict=True))


def _near(stages: pd.DataFrame, wells: pd.DataFrame) -> pd.DataFrame:
    """Return the gauges that are no farther from some wells than these reach."""
    reach = max(float(wells[name].max() - wells[name].min()) for name in ("easting", "northing"))
    for name in ("easting", "northing"):
        # A gauge far up the river would make the map of an aquifer small.
        stages = stages[stages[name].between(wells[name].min() - reach, wells[name].max() + reach)]
    return stages


def _read_by_hand(view: ReportView) -> pd.DataFrame:
    """Return the levels that are drawn as events; those of loggers are their line."""
    return view.levels[view.levels["method"] != "logger"]
