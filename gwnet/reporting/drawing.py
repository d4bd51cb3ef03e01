"""What a report asks of whoever draws its figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.figures.series.threshold_lanes import CrossingChart, ThresholdRow
    from gwnet.reporting.content import DrawnFigure
    from gwnet.reporting.data import MapFacts
    from gwnet.reporting.view import ReportView

#: Width of the text on the page [mm].
TEXT_WIDTH_MM = 174.0
#: Heights of figures that leave room for heading and caption on either page format [mm].
MAP_HEIGHT_MM = {"A4": 178.0, "Letter": 162.0}
#: Two of these with headings and captions are on a page.
HALF_PAGE_MAP_MM = {"A4": 105.0, "Letter": 97.0}
NETWORK_HEIGHT_MM = 145.0
#: Height of a page of an aquifer below its title and results [mm].
AQUIFER_MAP_MM = {"A4": 229.0, "Letter": 211.0}
#: Height of a page of hydrographs under its title, and how many there are on it.
HYDROGRAPHS_MM = {"A4": 245.0, "Letter": 227.0}
HYDROGRAPHS_A_PAGE = 6
#: Heights of the two parts of the page of a year: maps, and hydrographs with what is under them [mm].
YEAR_MAPS_MM = {"A4": 92.0, "Letter": 84.0}
YEAR_STRIPS_MM = {"A4": 132.0, "Letter": 122.0}
#: Most height of a page of thresholds below its title, and height of the gradients of one aquifer [mm].
THRESHOLDS_MM = {"A4": 234.0, "Letter": 216.0}
GRADIENT_MM = {"A4": 54.0, "Letter": 48.0}
#: Height of the key map of a cover that is not fitted, and the least and the most of one that is [mm].
KEY_MAP_MM = 104.0
KEY_MAP_LEAST_MM = 60.0
KEY_MAP_MOST_MM = 120.0


@dataclass(frozen=True, slots=True)
class FigureFrame:
    """The room that a figure has on the page.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the figure [mm].
    unit : {"m", "ft"}
        Unit of elevations and depths.
    """

    width_mm: float
    height_mm: float
    unit: str


class Drawing(Protocol):
    """Makes each figure as one page of vector PDF, with reproducible bytes."""

    def network_map(
        self, view: ReportView, frame: FigureFrame, wells: pd.DataFrame | None = None
    ) -> bytes | DrawnFigure:
        """Draw where the selected wells are, or some of them."""

    def potentiometric_map(self, view: ReportView, facts: MapFacts, frame: FigureFrame) -> bytes | DrawnFigure:
        """Draw one potentiometric map without method and cautions, which the report's text has."""

    def aquifer_page(self, view: ReportView, facts: MapFacts, frame: FigureFrame) -> bytes | DrawnFigure:
        """Draw the page of an aquifer: map, changes at the wells, notes."""

    def key_map(self, view: ReportView, frame: FigureFrame) -> bytes | DrawnFigure:
        """Draw the key map of the cover."""

    def key_height_mm(self, view: ReportView) -> float:
        """Return the height of the key beside it [mm]."""

    def thresholds(
        self,
        view: ReportView,
        rows: Sequence[ThresholdRow],
        charts: Sequence[CrossingChart],
        frame: FigureFrame,
    ) -> bytes | DrawnFigure:
        """Draw a page of thresholds; its height follows from the rows."""

    def high_low(
        self, view: ReportView, pair: tuple[MapFacts, MapFacts], named: Sequence[str], frame: FigureFrame
    ) -> bytes | DrawnFigure:
        """Draw high and low water of a year beside each other."""

    def year_strips(self, view: ReportView, wells: Sequence[str], frame: FigureFrame) -> bytes | DrawnFigure:
        """Draw the year of a few wells, with bars of crossing, rainfall and abstraction."""

    def hydrographs(
        self, view: ReportView, wells: Sequence[str], group: Sequence[str], frame: FigureFrame
    ) -> bytes | DrawnFigure:
        """Draw the hydrographs of a few wells under each other; the frame is the room for a full page."""

    def strip_scale(self, view: ReportView, group: Sequence[str], frame: FigureFrame) -> float:
        """Return the vertical scale that hydrographs share [m per cm]."""
