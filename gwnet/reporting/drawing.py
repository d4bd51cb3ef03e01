"""What a report asks of whoever draws its figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.reporting.content import DrawnFigure
    from gwnet.reporting.data import MapFacts
    from gwnet.reporting.view import ReportView

#: Width of the text on the page [mm].
TEXT_WIDTH_MM = 174.0
#: Heights of figures that leave room for heading and caption on either page format [mm].
MAP_HEIGHT_MM = {"A4": 178.0, "Letter": 162.0}
NETWORK_HEIGHT_MM = 145.0
#: Height of a page of an aquifer below its title and results [mm].
AQUIFER_MAP_MM = {"A4": 229.0, "Letter": 211.0}
#: Height of a page of hydrographs under its title, and how many there are on it.
HYDROGRAPHS_MM = {"A4": 245.0, "Letter": 227.0}
HYDROGRAPHS_A_PAGE = 6


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

    def potentiometric_map(
        self, view: ReportView, facts: MapFacts, frame: FigureFrame, *, brief: bool = False
    ) -> bytes | DrawnFigure:
        """Draw one potentiometric map; a brief one without method and cautions."""

    def aquifer_page(self, view: ReportView, facts: MapFacts, frame: FigureFrame) -> bytes | DrawnFigure:
        """Draw the page of an aquifer: map, changes at the wells, notes."""

    def hydrographs(
        self, view: ReportView, wells: Sequence[str], group: Sequence[str], frame: FigureFrame
    ) -> bytes | DrawnFigure:
        """Draw the hydrographs of a few wells under each other; the frame is the room for a full page."""

    def strip_scale(self, view: ReportView, group: Sequence[str], frame: FigureFrame) -> float:
        """Return the vertical scale that hydrographs share [m per cm]."""
