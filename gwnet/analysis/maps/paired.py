"""Maps of two days side by side: one interval, one extent, and whether the direction of flow differs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.maps.potentiometric import gradient_of
from gwnet.analysis.maps.result import MapResult
from gwnet.analysis.maps.site_maps import USUAL_RULE, SetRule, map_of, unit_of_coordinates
from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.gradients.directions import Turn, turn_between, turn_deg
from gwnet.hydro.gradients.horizontal import Gradient
from gwnet.hydro.gradients.local import surface_slopes
from gwnet.hydro.surfaces.hull import inside
from gwnet.hydro.surfaces.kriging import KrigedSurface
from gwnet.hydro.surfaces.surface import Surface
from gwnet.hydro.surfaces.surface_sums import hull_nodes
from gwnet.store.snapshot import Snapshot

#: Places at which directions are compared, roughly, and the distance that slopes are taken over, as a share of the
#: control's extent (project default).
_PLACES: Final = 150
_OVER: Final = 0.1


@dataclass(frozen=True, eq=False)
class PairedMaps:
    """Maps of two days; never averaged.

    Attributes
    ----------
    maps : tuple of MapResult
        The earlier and the later map, with one contour interval.
    common : tuple of str
        Wells and gauges used on both days.
    gradients : tuple of Gradient, or None
        Planes through the levels of those on each day, by which the directions are compared; None where they do not
        make a plane.
    turn : Turn or None
        How the direction differs from the first to the second day.
    reversed_share : float
        Share of the area inside the control of both days where the two surfaces fall in directions more than 90
        degrees apart beyond the kriging errors of both; NaN where the controls do not overlap or a surface is not
        kriged.
    """

    maps: tuple[MapResult, MapResult]
    common: tuple[str, ...]
    gradients: tuple[Gradient, Gradient] | None
    turn: Turn | None
    reversed_share: float

    @property
    def text(self) -> str:
        """Return how the directions differ, in sentences."""
        if self.turn is None or self.gradients is None:
            return "The wells used on both days make no plane, so the directions cannot be compared."
        parts = [self.turn.text, f"By the {len(self.common)} wells and gauges used on both days:"]
        words = (
            f"{drawn.date.isoformat()} {plane.text}" for drawn, plane in zip(self.maps, self.gradients, strict=True)
        )
        parts.append("; ".join(words) + ".")
        if np.isfinite(self.reversed_share):
            parts.append(
                f"Here and there: over {self.reversed_share:.0%} of the common control the surfaces fall in directions "
                "more than 90° apart beyond their errors."
            )
        return " ".join(parts)


def paired_maps_of(
    record: Snapshot,
    aquifer: str,
    dates: tuple[dt.date, dt.date],
    rule: SetRule = USUAL_RULE,
    *,
    interval_m: float | None = None,
    **options: Any,
) -> PairedMaps:
    """Return the maps of one aquifer on two days.

    Parameters
    ----------
    record, aquifer : object
        As in `gwnet.analysis.maps.site_maps.control_of`.
    dates : tuple of datetime.date
        Two local days.
    rule : gwnet.analysis.maps.site_maps.SetRule, optional
        Which levels enter.
    interval_m : float, optional
        Contour interval of both; the wider of the two that would be chosen unless given [m].
    **options : object
        As `gwnet.analysis.maps.site_maps.map_of`.

    Returns
    -------
    PairedMaps
        Both maps, in order of time, and how their directions differ.

    Raises
    ------
    SettingsError
        If the two days are one.
    TooFewLevelsError
        If fewer than three levels can be used on one of them.

    Notes
    -----
    A seasonal reversal is real: maps of different seasons are shown side by side and never averaged (common practice
    of state programmes). The directions are compared by the same wells on both days, so that a well that is missing
    once does not turn them.
    """
    first, second = sorted(dates)
    if first == second:
        message = f"Paired maps are of two days; {first.isoformat()} was given twice."
        raise SettingsError(message)
    maps = [map_of(record, aquifer, day, rule, interval_m=interval_m, **options) for day in (first, second)]
    # The coarser of both intervals, so that contours of the two days can be compared line by line.
    interval = max(drawn.interval_m for drawn in maps)
    maps = [
        drawn
        if drawn.interval_m == interval
        else map_of(record, aquifer, drawn.date, rule, interval_m=interval, **options)
        for drawn in maps
    ]
    used = [drawn.used.set_index("well") for drawn in maps]
    common = tuple(well for well in used[0].index if well in used[1].index)
    gradients = _gradients(used, common, unit_of_coordinates(record.settings["crs"]))
    return PairedMaps(
        maps=(maps[0], maps[1]),
        common=common,
        gradients=gradients,
        turn=None if gradients is None else turn_between(*gradients),
        reversed_share=_reversed_share(maps[0].surface, maps[1].surface),
    )


def _gradients(used: list[pd.DataFrame], common: tuple[str, ...], unit_m: float) -> tuple[Gradient, Gradient] | None:
    try:
        planes = [gradient_of(control.loc[list(common)].reset_index(), coordinate_unit_m=unit_m) for control in used]
    except AnalysisError:
        return None
    return planes[0], planes[1]


def _reversed_share(first: Surface, second: Surface) -> float:
    """Return the share of the common control where two kriged surfaces fall in opposite directions beyond doubt."""
    if not (isinstance(first, KrigedSurface) and isinstance(second, KrigedSurface)):
        return float("nan")
    x, y, area = hull_nodes(first.hull, _PLACES)
    held = inside(second.hull, x, y)
    if not held.any():
        return float("nan")
    x, y, area = x[held], y[held], area[held]
    # Over a tenth of the field: covariances of heads have no derivative, and noise has slopes of its own.
    over = _OVER * float(np.ptp(first.hull, axis=0).max())
    falls = [surface_slopes(surface, x, y, over_m=over) for surface in (first, second)]
    angle = np.abs(turn_deg(falls[0].azimuth_deg, falls[1].azimuth_deg))
    width = np.hypot(falls[0].azimuth_half_width_deg, falls[1].azimuth_half_width_deg)
    sure = falls[0].determined & falls[1].determined & (angle - width > 90.0)
    return float(area[sure].sum() / area.sum())
