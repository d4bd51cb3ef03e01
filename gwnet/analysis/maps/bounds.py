"""Bounds that heads cannot or hardly pass: the ground, the base of the unit, and those of wells without a number."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.maps.compartments import polygons
from gwnet.analysis.maps.texts import length_text
from gwnet.constants import OTHER_AQUIFER
from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces import triangulation
from gwnet.hydro.surfaces.contours import ContourLine
from gwnet.hydro.surfaces.surface import Grid, Surface

Floats = NDArray[np.float64]


def above_ground(control: pd.DataFrame, grid: Grid, unit: str) -> tuple[Any | None, str]:
    """Return where heads are above the ground, and the sentence that says so.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame with ground_elevation_m of its wells, used or not.
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads.
    unit : str
        Unit of the sentence, ``m`` or ``ft``.

    Returns
    -------
    tuple
        Area (shapely), or None where heads are nowhere above the ground or the ground is not known; and the
        sentence, empty then.

    Notes
    -----
    The ground is that of the wells, linear on the triangles between them; between wells it may be lower or higher.
    """
    import contourpy
    import shapely

    known = (
        control[["easting", "northing", "ground_elevation_m"]]
        .astype(np.float64)
        .dropna()
        .drop_duplicates(["easting", "northing"])
    )
    try:
        ground = triangulation.fit(known["easting"], known["northing"], known["ground_elevation_m"])
    except AnalysisError:
        return None, ""
    # Within the wells' hull only: beyond it the ground of the triangles is a guess.
    over = grid.water_elevation_m - ground.predict(grid.x[None, :], grid.y[:, None], inside_control=True)
    # -1 keeps nanmax from an empty or an all-NaN array, of which it warns.
    if not np.nanmax(np.append(over, -1.0)) > 0.0:
        return None, ""
    generator: Any = contourpy.contour_generator(
        grid.x, grid.y, np.ma.masked_invalid(over), name="serial", fill_type=contourpy.FillType.OuterOffset
    )
    # From 0 upward, so that the filled area is where heads lie above the ground.
    rings, starts = generator.filled(0.0, float(np.nanmax(over)) + 1.0)
    parts = [
        shapely.Polygon(points[offsets[0] : offsets[1]], [points[a:b] for a, b in pairwise(offsets[1:].tolist())])
        for points, offsets in zip(rings, starts, strict=True)
    ]
    # A width of 0 repairs rings that touch themselves, which the union refuses.
    area = polygons(shapely.unary_union([part.buffer(0.0) for part in parts]))
    if area.is_empty:
        return None, ""
    # At least 1 % in words: "0 %" beside a marked area would read as none.
    share = float(np.count_nonzero(over > 0.0) / np.count_nonzero(np.isfinite(over)))
    text = (
        f"Heads are up to {length_text(float(np.nanmax(over)), unit)} above the ground as interpolated between "
        f"wells, over {max(share, 0.01):.0%} of the control (marked): wells there would flow, or the ground is "
        "higher than between the wells."
    )
    return area, text


def against_bounds(control: pd.DataFrame, surface: Surface, unit: str) -> tuple[pd.DataFrame, str]:
    """Return the control with what the surface contradicts in the reasons, and the sentence that says so.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame; wells that are left out with a bound (``<=`` dry, ``>=`` flowing) are looked at.
    surface : gwnet.hydro.surfaces.surface.Surface
        The surface.
    unit : str
        Unit of the texts, ``m`` or ``ft``.

    Returns
    -------
    tuple
        Control frame, its reasons added to where the surface inside its control is drawn above what was dry, or below
        what flowed, by more than the bound's own half-width; and the sentence, empty where there are none.

    Notes
    -----
    A bound is no control, so the surface does not know of it: where both cannot be true, a reader must see that.
    """
    if "bound" not in control:
        return control, ""
    level, width = (control[name].astype(np.float64) for name in ("water_elevation_m", "uncertainty_m"))
    places = control[["easting", "northing"]].astype(np.float64)
    looked_at = ~control["used"].astype(bool) & (control["bound"] != "") & level.notna() & places.notna().all(axis=1)
    # a well of another aquifer says nothing of this one
    looked_at &= ~control["reason"].astype(str).str.startswith(OTHER_AQUIFER)
    rows = control.index[looked_at]
    if rows.empty:
        return control, ""
    drawn = surface.predict(*places.loc[rows].to_numpy().T, inside_control=True)
    # Above a "<=" and below a ">=" contradict; the sign makes both positive.
    over = np.where(control.loc[rows, "bound"] == "<=", 1.0, -1.0) * (drawn - level.loc[rows].to_numpy())
    # Within the half-width of the bound it may still be true.
    against = over > width.loc[rows].fillna(0.0).to_numpy()
    if not against.any():
        return control, ""
    control, sentences = control.copy(), []
    for row, head, by in zip(rows[against], drawn[against], over[against], strict=True):
        sign, side = control.loc[row, "bound"], "above" if control.loc[row, "bound"] == "<=" else "below"
        control.loc[row, "reason"] = (
            f"{control.loc[row, 'reason']}; the surface is drawn {length_text(by, unit)} {side}"
        )
        sentences.append(
            f"{control.loc[row, 'well']} ({sign} {length_text(level.loc[row], unit)}, drawn {length_text(head, unit)})"
        )
    return control, (
        f"The surface contradicts wells that are no control: {', '.join(sentences)}. There it is not to be relied on; "
        "check these wells, and measure between them and the control."
    )


def above_base(
    grid: Grid, contours: tuple[ContourLine, ...], base_m: float, unit: str
) -> tuple[Grid, tuple[ContourLine, ...], str]:
    """Return grid and contours without what lies below the base of the unit, and the sentence that says so.

    Parameters
    ----------
    grid : gwnet.hydro.surfaces.surface.Grid
        Heads.
    contours : tuple of gwnet.hydro.surfaces.contours.ContourLine
        Contours.
    base_m : float
        Elevation of the base; NaN when not known [m].
    unit : str
        Unit of the sentence, ``m`` or ``ft``.

    Returns
    -------
    tuple
        Grid, contours, and the sentence; empty where no head lies below the base.
    """
    with np.errstate(invalid="ignore"):
        below = grid.water_elevation_m <= base_m
    if not below.any():
        return grid, contours, ""
    share = float(np.count_nonzero(below) / np.count_nonzero(np.isfinite(grid.water_elevation_m)))
    text = (
        f"The surface falls to or below the base of the unit at {length_text(base_m, unit)} over "
        f"{max(share, 0.01):.0%} of the control; nothing is drawn there."
    )
    kept = tuple(line for line in contours if line.level_m > base_m)
    return replace(grid, water_elevation_m=np.where(below, np.nan, grid.water_elevation_m)), kept, text
