"""A potentiometric map with its files, and the gradient between wells: what the command line prints and writes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.maps.compartments import main_surface
from gwnet.analysis.maps.site_maps import unit_of_coordinates
from gwnet.analysis.maps.texts import has_wide_limits, median_half_width_m
from gwnet.constants import OTHER_AQUIFER
from gwnet.exchange.geopackage import map_geopackage
from gwnet.figures.base import style
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.data import map_plot_data
from gwnet.figures.maps.surface_map import draw_surface_map
from gwnet.products.product import Product
from gwnet.units import metres_per
from gwnet.whole_files import write_files

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gwnet.analysis.maps.result import MapResult
    from gwnet.hydro.gradients.horizontal import Gradient
    from gwnet.products.seepage import Seepage
    from gwnet.store.snapshot import Snapshot


def map_context(record: Snapshot, aquifer: str = "") -> MapContext:
    """Return what the sheets of a site say around their maps."""
    names, site = record.aquifers.set_index("aquifer")["name"], record.settings
    unit_m = unit_of_coordinates(str(site["crs"]))
    return MapContext(site.to_dict(), str(names.get(aquifer, "") or ""), record.state, unit_m)


@dataclass(frozen=True, eq=False, repr=False)
class SiteMap(Product):
    """A potentiometric map of a site.

    Attributes
    ----------
    result : gwnet.analysis.maps.result.MapResult
        Control, surface, contours, arrows, gradient and findings.
    context : gwnet.figures.maps.context.MapContext
        Site, name of the aquifer and record.
    """

    result: MapResult
    context: MapContext

    @property
    def control(self) -> pd.DataFrame:
        """Return the control frame."""
        return self.result.control

    @property
    def gradient(self) -> Gradient:
        """Return the gradient of the plane through the used levels."""
        return self.result.gradient

    @property
    def table(self) -> pd.DataFrame:
        """Return the levels that the map is made from and those left out, one row a well: its control."""
        return self.control

    def figure(self) -> Figure:
        """Return the map sheet as a figure."""
        return draw_surface_map(map_plot_data(self.result, self.context))

    def write(self, out: Path | str) -> list[Path]:
        """Write map.pdf, map.png and map.gpkg into a folder, all of them or none.

        Parameters as `gwnet.products`.

        Returns
        -------
        list of pathlib.Path
            The three files.
        """
        files = {**style.sheet_files("map", self.figure()), "map.gpkg": map_geopackage(self.result)}
        return list(write_files(out, files, "map").values())

    def summary(self) -> pd.DataFrame:
        """Return what the map says in one row.

        Returns
        -------
        pandas.DataFrame
            aquifer, date, used, by_logger (wells with the level of a logger), span, method, interval_m,
            cross_validation_error_m, surface_uncertainty_m (95 % half-width, median over the control; empty where three
            levels or the method say nothing of it), surface_uncertainty_note (``very wide`` below five levels), the
            gradient's columns as `gradient_row`, finding, and the columns of
            `exclusions_row`.
        """
        result = self.result
        left = result.left_out
        width_m = median_half_width_m(result.surface)
        row = {
            "aquifer": result.aquifer,
            "date": result.date.isoformat(),
            "used": len(result.used),
            "by_logger": ", ".join(result.used.loc[result.used["source"] == "logger", "well"]),
            "span": result.span.text,
            "method": result.method_text,
            "interval_m": result.interval_m,
            "cross_validation_error_m": result.cross_validation.rmse_m,
            "surface_uncertainty_m": width_m if math.isfinite(width_m) else math.nan,
            "surface_uncertainty_note": "very wide" if has_wide_limits(main_surface(result.surface)) else "",
            **gradient_row(result.gradient),
            "finding": " ".join(
                [*(finding.text for finding in result.findings), *(failure.text for failure in result.honour_failures)]
            ),
            **exclusions_row(left),
        }
        if result.gradient_sound is not None:
            row |= row_without_findings(result.gradient_sound)
        return pd.DataFrame([row])


@dataclass(frozen=True, eq=False)
class WellGradient:
    """The gradient between named wells.

    Attributes
    ----------
    gradient : gwnet.hydro.gradients.horizontal.Gradient
        The plane's gradient.
    control : pandas.DataFrame
        The levels it was made from.
    seepage : gwnet.products.seepage.Seepage or None
        Conductivity and porosity, where given.
    """

    gradient: Gradient
    control: pd.DataFrame
    seepage: Seepage | None = None

    def summary(self, unit: str = "m") -> pd.DataFrame:
        """Return the gradient in one row; see `gradient_row`, and `gwnet.products.seepage.Seepage.row` with seepage.

        Parameters
        ----------
        unit : str, optional
            Unit of the heads that are listed, m or ft; millimetres or hundredths of a foot.
        """
        levels = zip(self.control["well"], self.control["water_elevation_m"] / metres_per(unit), strict=True)
        # Hundredths of a foot are about as fine as three millimetres.
        words = "; ".join(f"{well} {head:.{2 if unit == 'ft' else 3}f} {unit}" for well, head in levels)
        velocity = {} if self.seepage is None else self.seepage.row(self.gradient)
        return pd.DataFrame([{**gradient_row(self.gradient), **velocity, "heads": words}])


def row_without_findings(sound: Gradient | None) -> dict[str, Any]:
    """Return the gradient without the levels that findings contradict; where it is not significant, none.

    Parameters
    ----------
    sound : gwnet.hydro.gradients.horizontal.Gradient or None
        The gradient without them, where there are such levels.

    Returns
    -------
    dict of str to object
        gradient_without_findings [m/m] and azimuth_degrees_without_findings.
    """
    row = {} if sound is None else gradient_row(sound)
    return {f"{name}_without_findings": row.get(name) for name in ("gradient", "azimuth_degrees")}


def exclusions_row(left: pd.DataFrame) -> dict[str, Any]:
    """Return what a map leaves out as named values.

    Parameters
    ----------
    left : pandas.DataFrame
        Wells and gauges that are not used: well and reason.

    Returns
    -------
    dict of str to object
        excluded (wells and gauges of the aquifer that are left out), other_aquifers (wells of other aquifers, which are
        counted and no more) and exclusions (each of the former with its reason).
    """
    # Counted, not listed: in a layered site they are most of the wells, and none of them was expected on this map.
    elsewhere = left["reason"].str.startswith(OTHER_AQUIFER)
    own = left[~elsewhere]
    return {
        "excluded": len(own),
        "other_aquifers": int(elsewhere.sum()),
        "exclusions": "; ".join(f"{well}: {why}" for well, why in zip(own["well"], own["reason"], strict=True)),
    }


def gradient_row(gradient: Gradient) -> dict[str, Any]:
    """Return a gradient as named values.

    Returns
    -------
    dict of str to object
        gradient and gradient_uncertainty [m/m, 95 %], gradient_upper_limit [m/m, 95 %], azimuth_degrees (direction of
        flow, clockwise from grid north), azimuth_uncertainty_degrees (the larger reach of its arc),
        azimuth_from_degrees and azimuth_to_degrees (the 95 % arc, clockwise), determined, levels (how many the plane
        goes through) and note. Where the gradient is not significant only its upper limit is stated.
    """
    # A bool of Python: that of numpy is written another way in JSON and in tables.
    determined = bool(gradient.determined)
    # A plane through three levels has no half-width: its gradient is stated, and nothing says how sure it is.
    stated = determined or math.isnan(gradient.magnitude_half_width)
    azimuth, low, high = gradient.azimuth_deg, gradient.anticlockwise_deg, gradient.clockwise_deg
    return {
        "gradient": gradient.magnitude if stated else None,
        "gradient_uncertainty": gradient.magnitude_half_width if determined else None,
        "gradient_upper_limit": gradient.upper_limit,
        "azimuth_degrees": azimuth if determined else None,
        "azimuth_uncertainty_degrees": gradient.azimuth_half_width_deg if determined else None,
        "azimuth_from_degrees": (azimuth - low) % 360.0 if determined else None,
        "azimuth_to_degrees": (azimuth + high) % 360.0 if determined else None,
        "determined": determined,
        "levels": int(gradient.n),
        "note": gradient.text,
    }
