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
TEXT_WIDTH_MM = 170.0
#: Heights of figures that leave room for heading and caption on either page format [mm].
MAP_HEIGHT_MM = {"A4": 178.0, "Letter": 162.0}
NETWORK_HEIGHT_MM = 145.0
#: Height of the map on a page of an aquifer, below its results [mm].
AQUIFER_MAP_MM = {"A4": 160.0, "Letter": 144.0}
HYDROGRAPH_HEIGHT_MM = {"A4": 75.0, "Letter": 69.0}
#: Hydrographs that fit on one page.
HYDROGRAPHS_A_PAGE = 3


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

    def hydrographs(
        self, view: ReportView, wells: Sequence[str], group: Sequence[str], frame: FigureFrame
    ) -> bytes | DrawnFigure:
        """Draw the hydrographs of a few wells under each other, with the vertical span that their group shares."""
