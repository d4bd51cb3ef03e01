"""What a map is made from beside its levels: barriers, a boundary, rivers with heads, bounds of heads, base layers.

Points of rivers are control rows of kind `river`: they shape the surface and are no measurements, so they stay out of
gradient, cross-validation, findings, span and labels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import RIVER_KIND
from gwnet.errors import SettingsError
from gwnet.hydro.surfaces.hull import convex_hull, hull_area

Floats = NDArray[np.float64]

#: A gauge this near to a river's line gives its head there [m] (project default).
GAUGE_REACH_M: Final = 50.0

#: Most points that rivers bring into the control (project default).
MOST_RIVER_POINTS: Final = 200


@dataclass(frozen=True, eq=False)
class River:
    """A line of surface water whose heads are control.

    Attributes
    ----------
    name : str
        Name.
    line : shapely.LineString
        Course, in the site's system; heads may stand as its third coordinate.
    head_start_m, head_end_m : float
        Heads at its first and last corner, linear between; NaN when not given [m].
    """

    name: str
    line: Any
    head_start_m: float = math.nan
    head_end_m: float = math.nan

    @property
    def stated(self) -> bool:
        """Whether heads came with the line."""
        return bool(self.line.has_z) or (math.isfinite(self.head_start_m) and math.isfinite(self.head_end_m))


@dataclass(frozen=True, eq=False)
class MapFeatures:
    """What a map is made from beside its levels; geometry in the site's coordinate system.

    Attributes
    ----------
    barriers : tuple of shapely.LineString
        Lines that heads do not reach across, for example faults.
    boundary : shapely.Polygon or shapely.MultiPolygon or None
        Nothing is drawn beyond it.
    rivers : tuple of River
        Lines whose heads enter as control.
    base_m : float
        Elevation of the base of the unit; NaN when not known [m].
    layers : tuple of tuple
        Name and geometries of each layer that is only drawn.
    sources : tuple of str
        Where each came from, in words.
    """

    barriers: tuple[Any, ...] = ()
    boundary: Any | None = None
    rivers: tuple[River, ...] = ()
    base_m: float = math.nan
    layers: tuple[tuple[str, Any], ...] = ()
    sources: tuple[str, ...] = ()


def with_rivers(control: pd.DataFrame, features: MapFeatures, *, coordinate_unit_m: float = 1.0) -> pd.DataFrame:
    """Return a control frame with points along the rivers, as far as their heads are known.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame, as `gwnet.analysis.maps.same_day.same_day_set`.
    features : MapFeatures
        Features of the map.
    coordinate_unit_m : float, optional
        Metres in one unit of the coordinates.

    Returns
    -------
    pandas.DataFrame
        The frame, with one row of kind ``river`` for each point.

    Raises
    ------
    SettingsError
        If the head of a river is known nowhere.

    Notes
    -----
    Heads along a line are its third coordinates; else linear between the heads of its two ends; else linear between
    the used gauges that stand within 50 m of it, from the first gauge to the last and not beyond. Points stand half
    the mean spacing of the other control apart (the root of the hull's area over their number), never more than 200
    in all, and only where the line runs within one such spacing of the hull of the other control.
    """
    import shapely

    used = control[control["used"].astype(bool)]
    if not features.rivers or len(used) < 3:
        return control
    hull = convex_hull(used["easting"].to_numpy(dtype=np.float64), used["northing"].to_numpy(dtype=np.float64))
    spacing = math.sqrt(hull_area(hull) / len(used))
    near = shapely.Polygon(hull).buffer(spacing)
    known = [(river, *_heads(river, used, coordinate_unit_m)) for river in features.rivers]
    length = sum(float(river.line.intersection(near).length) for river, _, _ in known)
    # Half the spacing of wells, so that rivers shape the surface but do not outweigh it.
    step = max(0.5 * spacing, length / MOST_RIVER_POINTS)
    rows = [row for river, along, heads in known for row in _points(river, along, heads, (near, step), used)]
    if not rows:
        return control
    kinds = {name: control[name].dtype for name in ("used", "time_known", "event_id")}
    never = pd.Series([pd.NaT] * len(rows), dtype=control["measured_at_utc"].dtype)
    points = pd.DataFrame(rows)[list(control.columns)].astype(kinds).assign(measured_at_utc=never)
    return pd.concat([control, points], ignore_index=True)


def _heads(river: River, used: pd.DataFrame, coordinate_unit_m: float) -> tuple[Floats, Floats]:
    """Return distances along a river's line and the heads there."""
    import shapely

    corners = np.asarray(river.line.coords, dtype=np.float64)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners[:, :2], axis=0).T))])
    if river.line.has_z and np.isfinite(corners[:, 2]).all():
        return along, corners[:, 2]
    if river.stated:
        return along[[0, -1]], np.array([river.head_start_m, river.head_end_m])
    gauges = used[used["kind"] == "stage"]
    places = [shapely.Point(x, y) for x, y in zip(gauges["easting"], gauges["northing"], strict=True)]
    reach = GAUGE_REACH_M / coordinate_unit_m
    heads = sorted(
        (float(river.line.project(place)), float(head))
        for place, head in zip(places, gauges["water_elevation_m"], strict=True)
        if river.line.distance(place) <= reach
    )
    if len(heads) < 2:
        message = (
            f"The head of {river.name} is not known: its line has no heads, and {len(heads)} used "
            f"{'gauge is' if len(heads) == 1 else 'gauges are'} within {GAUGE_REACH_M:g} m of it; two are needed."
        )
        raise SettingsError(
            message, fix="Give the line head_m, or head_start_m and head_end_m, or measure stages on the day."
        )
    return np.array([at for at, _ in heads]), np.array([head for _, head in heads])


def _points(
    river: River, along: Floats, heads: Floats, where: tuple[Any, float], used: pd.DataFrame
) -> list[dict[str, Any]]:
    """Return the rows of a river's points; none at the place of another control point."""
    import shapely

    near, step = where
    count = max(1, round((along[-1] - along[0]) / step))
    rows = []
    taken = used[["easting", "northing"]].to_numpy(dtype=np.float64)
    first = used.iloc[0]
    for number, at in enumerate(np.linspace(along[0], along[-1], count + 1), start=1):
        place = river.line.interpolate(float(at))
        if not near.covers(shapely.Point(place.x, place.y)):
            continue
        # Nearer than a quarter of a step to a well: two heads at one place would make the equations singular.
        if np.hypot(taken[:, 0] - place.x, taken[:, 1] - place.y).min() < 0.25 * step:
            continue
        row: dict[str, Any] = dict.fromkeys(used.columns, math.nan)
        row |= {
            "site": first["site"],
            "well": f"{river.name} {number}",
            "kind": RIVER_KIND,
            "easting": float(place.x),
            "northing": float(place.y),
            "measured_at": "",
            "measured_at_utc": pd.NaT,
            "water_elevation_m": float(np.interp(at, along, heads)),
            "status": "static",
            "used": True,
            "reason": "",
            "time_known": False,
            "cluster": "",
            "event_id": -1,
            "source": "",
            "bound": "",
        }
        rows.append(row)
    return rows
