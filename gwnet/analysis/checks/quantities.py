"""Checks of what a number was booked as: an elevation among depths."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.checks.check import SERIOUS, CheckList, Finding
from gwnet.analysis.checks.events import Events

CHECKS: Final = CheckList()

ELEVATION_AS_DEPTH: Final = "elevation in a depth column"

#: A depth is looked at when it exceeds the depth as built by this share of it and by this [m] (project default).
_BEYOND_SHARE: Final = 0.05
_BEYOND_M: Final = 1.0

#: An elevation may lie this far below the bottom of the well and above its ground [m] (project default).
_BELOW_BOTTOM_M: Final = 1.0
_ABOVE_GROUND_M: Final = 3.0


def fits_as_elevation(events: Events) -> NDArray[np.bool_]:
    """Return which depths lie far below their well, while the same number is an elevation between bottom and ground.

    Parameters as `gwnet.analysis.checks`.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the number would fit as an elevation.
    """
    booked = events.booked
    number = booked.value * booked.metres
    ground = events.reduced.ground_elevation_m[events.order]
    built = events.of_well("total_depth_m")
    # Both a share and an amount: total depths of deep wells are rounded, those of shallow ones off by a metre.
    is_beyond = number > built * (1.0 + _BEYOND_SHARE) + _BEYOND_M
    is_elevation = (number > ground - built - _BELOW_BOTTOM_M) & (number < ground + _ABOVE_GROUND_M)
    return np.asarray((booked.sense < 0) & is_beyond & is_elevation, dtype=bool)


@CHECKS.add(
    ELEVATION_AS_DEPTH,
    SERIOUS,
    "a depth far below the well as built that would fit as an elevation",
)
def _find_elevations(events: Events) -> Iterator[Finding]:
    """Find depths that are elevations, or else speak against the depth as built."""
    built, ground = events.of_well("total_depth_m"), events.reduced.ground_elevation_m[events.order]
    number = events.booked.value * events.booked.metres
    for row in np.flatnonzero(fits_as_elevation(events)).tolist():
        message = (
            f"The depth of {events.length(number[row])} lies below the bottom of the well, {events.length(built[row])} "
            f"below ground as built. As an elevation it fits, between {events.length(ground[row] - built[row])} and "
            f"{events.length(ground[row])}. It belongs in water_elevation, or the depth as built is wrong."
        )
        values = {"depth_m": round(float(number[row]), 6), "total_depth_m": round(float(built[row]), 6)}
        yield Finding(message, values, row)
