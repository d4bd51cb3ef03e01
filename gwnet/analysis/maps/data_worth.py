"""The data worth of each well to the map of a day, and of further ones: for a network's review.

Data worth has a closed form: leaving a well out lowers the surface by its weight times its leave-one-out residual, and
raises the variance by the weight squared over the diagonal of the inverse. The covariance is kept, since a refit would
answer another question. Only wells and gauges of a kriged map have a data worth, no points of rivers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.maps.result import MapResult
from gwnet.constants import NORMAL_95, RIVER_KIND
from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.gradients.directions import turn_deg
from gwnet.hydro.gradients.horizontal import Gradient, plane_gradient
from gwnet.hydro.surfaces.hull import COLLINEAR_SHARE, convex_hull, hull_area, length_and_width
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.kriging_system import Candidate, Worth, places_for_wells, worth_of_wells
from gwnet.hydro.surfaces.surface_sums import hull_nodes

Floats = NDArray[np.float64]

#: Columns of the table of worth, in order.
WORTH_COLUMNS: Final = tuple(
    (
        "rank well kind mean_change_m largest_change_m error_increase_percent control_lost_percent "
        "gradient_change_percent direction_turn_degrees note"
    ).split()
)


@dataclass(frozen=True, eq=False)
class WorthResult:
    """What the wells of one map are worth.

    Attributes
    ----------
    drawn : MapResult
        The map with all wells.
    wells : pandas.DataFrame
        Columns of `WORTH_COLUMNS`: the well whose removal changes the map least first. Changes are means and largest
        absolute changes of the surface over the control of all wells [m]; the error is the root mean square of the
        kriging standard error over it; ``control_lost_percent`` is what of the control's area lies outside the other
        wells; gradient and direction are of the plane through the wells.
    error_m : float
        Root mean square over the control of the kriging standard error, with all wells [m].
    candidates : tuple of Candidate
        Places where the error is largest, each with those before it taken as wells.
    """

    drawn: MapResult
    wells: pd.DataFrame
    error_m: float
    candidates: tuple[Candidate, ...]


def worth_of(drawn: MapResult, *, candidates: int = 3, coordinate_unit_m: float = 1.0) -> WorthResult:
    """Return what each well of a map is worth, and where the map knows least.

    Parameters
    ----------
    drawn : MapResult
        A kriged map.
    candidates : int, optional
        Places for further wells.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.

    Raises
    ------
    SettingsError
        If the map is not kriged, as other surfaces know no error, or has points of rivers.
    AnalysisError
        If the map has only three wells, none of which can be spared.

    Notes
    -----
    A well is left out in closed form, with the covariance of the map kept (`gwnet.hydro.surfaces.kriging_system`). A
    small change says that on this day the neighbours gave the well's level; it says nothing of the well's other
    purposes, and of days on which it would tell something else. A well whose level does not fit moves the map most:
    that is no worth.
    """
    surface = drawn.surface
    if not isinstance(surface, KrigedSurface):
        raise SettingsError("The worth of wells needs a kriged map.", fix="Take the method kriging.")
    # Points of rivers are no measurements, which nobody could spare or add.
    used = drawn.used
    if used["kind"].eq(RIVER_KIND).any():
        message = "Data worth is worked out for maps made from wells and gauges alone; this one has points of rivers."
        raise SettingsError(message, fix="Map without the rivers.")
    if len(used) < 4:
        raise AnalysisError("With three wells none can be spared.", fix="Take a day with more levels.")
    x, y, area = hull_nodes(surface.hull)
    worth = worth_of_wells(surface, x, y, area)
    places = places_for_wells(
        surface,
        x,
        y,
        area,
        count=candidates,
        # From the usual half-width of the day, as a well to come is read as these were.
        measurement_variance_m2=float(np.median(used["uncertainty_m"].fillna(0.0)) / NORMAL_95) ** 2,
    )
    table = _table(drawn, worth, surface, coordinate_unit_m)
    return WorthResult(drawn, table, worth.error_m, places)


def _table(drawn: MapResult, worth: Worth, surface: KrigedSurface, unit_m: float) -> pd.DataFrame:
    names = drawn.used["well"].astype(str).tolist()
    flagged = {finding.well for finding in drawn.findings}
    rows = []
    for position, name in enumerate(names):
        kept = np.arange(len(names)) != position
        size, turned = _gradient_change(drawn, kept, unit_m)
        rows.append(
            {
                "well": name,
                "kind": drawn.used["kind"].iloc[position],
                "mean_change_m": worth.mean_change_m[position],
                "largest_change_m": worth.largest_change_m[position],
                "error_increase_percent": 100.0 * (worth.error_without_m[position] / worth.error_m - 1.0)
                if worth.error_m > 0.0
                else np.nan,
                "control_lost_percent": 100.0 * _lost(surface, kept),
                "gradient_change_percent": size,
                "direction_turn_degrees": turned,
                "note": "does not fit its neighbours: look at its level first" if name in flagged else "",
            }
        )
    table = pd.DataFrame(rows)
    table.loc[table["mean_change_m"].isna(), "note"] = "without it the others make no surface"
    table = table.sort_values(["mean_change_m", "well"], na_position="last", kind="stable", ignore_index=True)
    table.insert(0, "rank", np.arange(1, len(table) + 1))
    return table[list(WORTH_COLUMNS)]


def _lost(surface: KrigedSurface, kept: NDArray[np.bool_]) -> float:
    """Return the share of the control's area that lies outside the kept wells."""
    # Without this well the others may lie on one line, which holds no area.
    length, width = length_and_width(surface.x[kept], surface.y[kept])
    if width <= COLLINEAR_SHARE * length:
        return 1.0
    hull = convex_hull(surface.x[kept], surface.y[kept])
    return max(0.0, 1.0 - hull_area(hull) / hull_area(surface.hull))


def _gradient_change(drawn: MapResult, kept: NDArray[np.bool_], unit_m: float) -> tuple[float, float]:
    """Return by how many per cent and degrees the plane's gradient changes when only the kept wells make it."""
    used = drawn.used[kept]
    whole = drawn.gradient
    try:
        plane: Gradient = plane_gradient(
            used["easting"].to_numpy(dtype=np.float64) * unit_m,
            used["northing"].to_numpy(dtype=np.float64) * unit_m,
            used["water_elevation_m"].to_numpy(dtype=np.float64),
        )
    except AnalysisError:
        return float("nan"), float("nan")
    size = 100.0 * (plane.magnitude / whole.magnitude - 1.0) if whole.magnitude > 0.0 else float("nan")
    return size, float(turn_deg(whole.azimuth_deg, plane.azimuth_deg))
