"""The figures of a report as the project draws them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.figures.base.style import figure_bytes
from gwnet.figures.hydrograph.draw import Span, common_span, hydrograph_plot_data, hydrograph_sheet
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.data import map_plot_data
from gwnet.figures.maps.network_data import network_plot_data
from gwnet.figures.maps.network_map import draw_network_map
from gwnet.figures.maps.surface_map import draw_surface_map
from gwnet.reporting.content import DrawnFigure
from gwnet.reporting.mapped import describe_outside

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
        self._spans: dict[tuple[str, tuple[str, ...]], Span] = {}

    def network_map(self, view: ReportView, frame: FigureFrame, wells: pd.DataFrame | None = None) -> DrawnFigure:
        """Draw where the selected wells are.

        Parameters
        ----------
        view : ReportView
            The report's look at the record.
        frame : FigureFrame
            Room on the page.
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

    def potentiometric_map(
        self, view: ReportView, facts: MapFacts, frame: FigureFrame, *, brief: bool = False
    ) -> DrawnFigure:
        """Draw one potentiometric map with its own notes.

        Parameters
        ----------
        view : ReportView
            The report's look at the record.
        facts : MapFacts
            The map; its result is what the analysis made.
        frame : FigureFrame
            Room on the page.
        brief : bool, optional
            Whether method, findings in words and cautions are left out.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        outside = describe_outside(facts.control, view.period)
        title = f"Potentiometric surface with {outside}" if outside else "Potentiometric surface"
        data = map_plot_data(facts.result, _context(view, facts.aquifer), title=title)
        return drawn_figure(
            draw_surface_map(data, size_mm=(frame.width_mm, frame.height_mm), full_text=not brief), svg=self._pages
        )

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
            Wells that share one vertical span.
        frame : FigureFrame
            Room on the page.

        Returns
        -------
        DrawnFigure
            One page of PDF, and SVG where a page is made.
        """
        data, start = view.data, view.definition.hydrographs.start
        levels = _members(_read_by_hand(view), wells)
        thresholds = _members(data.thresholds, wells)
        span = self._span(view, group, frame.unit)
        names = _names(view)
        drawn = [
            hydrograph_plot_data(
                levels,
                well,
                measuring_points=data.measuring_points,
                construction=data.construction,
                thresholds=thresholds,
                site=_site(view),
                wells=view.wells,
                unit=frame.unit,
                span=span,
                start=start,
                end=view.period.last,
                aquifer_name=names.get(view.aquifer_of(well), ""),
                known_on=data.known_on,
                series=data.logger_lines.get(well),
            )
            for well in wells
        ]
        return drawn_figure(hydrograph_sheet(drawn, size_mm=(frame.width_mm, frame.height_mm)), svg=self._pages)

    def _span(self, view: ReportView, group: Sequence[str], unit: str) -> Span:
        """Return the vertical span of a group, worked out once for all its sheets."""
        if self._view is not view:
            self._view, self._spans = view, {}
        key = (unit, tuple(group))
        if key not in self._spans:
            levels, thresholds = _members(_read_by_hand(view), group), _members(view.data.thresholds, group)
            lines = {well: line for well, line in view.data.logger_lines.items() if well in set(group)}
            self._spans[key] = common_span([levels], thresholds=thresholds, series=lines, unit=unit)
        return self._spans[key]


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
        stages = stages[stages[name].between(wells[name].min() - reach, wells[name].max() + reach)]
    return stages


def _read_by_hand(view: ReportView) -> pd.DataFrame:
    """Return the levels that are drawn as events; those of loggers are their line."""
    return view.levels[view.levels["method"] != "logger"]


def _members(frame: pd.DataFrame, wells: Sequence[str]) -> pd.DataFrame:
    return frame[frame["well"].isin(list(wells))]
