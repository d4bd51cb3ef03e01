"""The figures of a report as the project draws them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from gwnet.figures.hydrograph import common_span, hydrograph_plot_data, hydrograph_sheet
from gwnet.figures.style import figure_pdf_bytes

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.reporting.drawing import FigureFrame
    from gwnet.reporting.view import ReportView

__all__ = ["ReportDrawing"]


class ReportDrawing:
    """Draws maps and hydrographs for reports; every figure is one page of vector PDF with reproducible bytes."""

    def hydrographs(self, view: ReportView, wells: Sequence[str], group: Sequence[str], frame: FigureFrame) -> bytes:
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
        bytes
            One page of PDF.
        """
        data, start = view.data, view.definition.hydrographs.start
        levels = _members(view.levels, group)
        thresholds = _members(data.thresholds, group)
        span = common_span([levels], thresholds=thresholds, unit=frame.unit)
        site: dict[str, Any] = {
            "site": data.site.code,
            "name": data.site.name,
            "vertical_datum": data.site.vertical_datum,
            "time_zone": data.site.time_zone,
        }
        names = dict(zip(data.aquifers["aquifer"], data.aquifers["name"].fillna(""), strict=True))
        drawn = [
            hydrograph_plot_data(
                levels,
                well,
                measuring_points=data.measuring_points,
                construction=data.construction,
                thresholds=thresholds,
                site=site,
                wells=view.wells,
                unit=frame.unit,
                span=span,
                start=start,
                end=view.period.last,
                aquifer_name=names.get(view.aquifer_of(well), ""),
                known_on=data.known_on_utc,
            )
            for well in wells
        ]
        return figure_pdf_bytes(hydrograph_sheet(drawn, size_mm=(frame.width_mm, frame.height_mm)))


def _members(frame: pd.DataFrame, wells: Sequence[str]) -> pd.DataFrame:
    return frame[frame["well"].isin(list(wells))]
