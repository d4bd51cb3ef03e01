"""The worth of wells to the map of a day, and places for further ones, as tables and a sheet."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gwnet.constants import NORMAL_95
from gwnet.figures.base import style
from gwnet.hydro.surfaces.contours import contour_levels, contour_lines, nice_interval
from gwnet.hydro.surfaces.surface import Grid, make_grid
from gwnet.products.product import Product
from gwnet.units import metres_per
from gwnet.whole_files import write_files

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from gwnet.analysis.maps.data_worth import WorthResult
    from gwnet.figures.maps.context import MapContext
    from gwnet.hydro.surfaces.surface import Surface


@dataclass(frozen=True, eq=False, repr=False)
class NetworkWorth(Product):
    """What the wells of one map are worth, as a table and a sheet.

    Attributes
    ----------
    result : gwnet.analysis.maps.data_worth.WorthResult
        Table, error and places for further wells.
    context : gwnet.figures.maps.context.MapContext
        Site, aquifer and record.
    """

    result: WorthResult
    context: MapContext

    @property
    def table(self) -> pd.DataFrame:
        """Return the wells by rank; columns of `gwnet.analysis.maps.data_worth.WORTH_COLUMNS`."""
        return self.result.wells

    def places(self) -> pd.DataFrame:
        """Return the places where the error is largest.

        Returns
        -------
        pandas.DataFrame
            place (A, B, …), easting, northing, uncertainty_m (95 % half-width there), error_falls_percent (of the
            root mean square error over the control by a well there and at those before it).
        """
        rows = [
            {
                "place": _letter(i),
                "easting": one.x,
                "northing": one.y,
                "uncertainty_m": NORMAL_95 * one.error_m,
                "error_falls_percent": 100.0 * (1.0 - one.error_with_m / self.result.error_m)
                if self.result.error_m > 0.0
                else np.nan,
            }
            for i, one in enumerate(self.result.candidates)
        ]
        return pd.DataFrame(rows, columns=["place", "easting", "northing", "uncertainty_m", "error_falls_percent"])

    @property
    def least(self) -> int:
        """Return how many wells are marked as changing the map least: a quarter of them, at least one."""
        return max(1, round(0.25 * int(self.result.wells["mean_change_m"].notna().sum())))

    def figure(self) -> Figure:
        """Return the sheet as a figure."""
        from gwnet.figures.maps.change_data import worth_plot_data
        from gwnet.figures.maps.surface_map import draw_surface_map

        drawn = self.result.drawn
        contours, interval = _error_contours(drawn.surface, drawn.unit)
        data = worth_plot_data(
            self.result,
            self.context,
            candidates=[
                (_letter(i), one.x, one.y, NORMAL_95 * one.error_m) for i, one in enumerate(self.result.candidates)
            ],
            least=self.least,
            contours=contours,
            interval_m=interval,
            facts=self._facts(),
            cautions=(
                "A small change says that on this day the neighbours gave the well's level. It says nothing of other "
                "days, of the well's other purposes (thresholds, quality, permits), or of places beyond control.",
                "A well whose level does not fit its neighbours moves the map most: look at its level first.",
                # The last caution is the one of every map; the others are about its contours.
                *drawn.cautions[-1:],
            ),
        )
        return draw_surface_map(data)

    def _facts(self) -> list[str]:
        unit = self.result.drawn.unit
        one = metres_per(unit)
        error = NORMAL_95 * self.result.error_m / one
        facts = [f"95 % half-width of the surface, root mean square over the control: {error:.2f} {unit}."]
        facts += [
            f"{row['place']} at {row['easting']:.0f}, {row['northing']:.0f}: ± {row['uncertainty_m'] / one:.2f} "
            f"{unit}; wells up to it would lower the root mean square to {100.0 - row['error_falls_percent']:.0f} %."
            for row in self.places().to_dict("records")
        ]
        facts.append(f"{self.result.drawn.method_text} It is kept when a well is left out.")
        return facts

    def write(self, out: Path | str) -> list[Path]:
        """Write worth.pdf, worth.png, worth.csv and places.csv into a folder, all of them or none.

        Parameters as `gwnet.products`.

        Returns
        -------
        list of pathlib.Path
            The four files.
        """
        tables = {"worth.csv": self.table, "places.csv": self.places()}
        texts = {name: table.to_csv(index=False, lineterminator="\n").encode() for name, table in tables.items()}
        return list(write_files(out, {**style.sheet_files("worth", self.figure()), **texts}, "data worth").values())


def _letter(number: int) -> str:
    # Letters: numbers would be taken for wells.
    return chr(ord("A") + number % 26) * (1 + number // 26)


class _HalfWidth:
    """The 95 % half-width of a surface, as a surface of its own to be drawn."""

    def __init__(self, surface: Surface) -> None:
        self._surface = surface
        self.x, self.y, self.z, self.hull = surface.x, surface.y, surface.z, surface.hull

    def predict(self, xq: Any, yq: Any, **_: bool) -> NDArray[np.float64]:
        """Return the half-widths at points [m]."""
        return NORMAL_95 * self._surface.standard_error(xq, yq)


def _error_contours(surface: Surface, unit: str) -> tuple[tuple[Any, ...], float]:
    """Return contours of the half-width of a surface, and their interval [m]."""
    # Coarser than a map: errors are smooth, and each point costs a solution of the kriging system.
    grid: Grid = make_grid(_HalfWidth(surface), lines=101)  # type: ignore[arg-type]
    values = grid.water_elevation_m[np.isfinite(grid.water_elevation_m)]
    highest = float(values.max())
    interval = nice_interval(0.0, highest, unit_m=metres_per(unit), most=5)
    # Not from 0: the error is nowhere 0 but at wells.
    levels = contour_levels(interval, highest, interval)
    return contour_lines(grid, levels), interval
