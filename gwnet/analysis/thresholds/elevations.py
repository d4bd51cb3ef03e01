"""Thresholds as water elevations, whatever they were given as, and the lowest level that their wells can show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.screen_limits import screen_limits
from gwnet.analysis.thresholds.compared import DECIMALS


def with_elevations(
    thresholds: pd.DataFrame,
    wells: pd.DataFrame,
    measuring_points: pd.DataFrame,
    construction: pd.DataFrame,
    unit_m: float = 1.0,
) -> pd.DataFrame:
    """Return thresholds with columns ``elevation_m``, ``lowest_shown_m``, ``distance_m`` and ``limit_m``.

    Parameters
    ----------
    thresholds : pandas.DataFrame
        As `gwnet.store.fetch.programme.thresholds`.
    wells : pandas.DataFrame
        As `gwnet.store.fetch.registry.wells`, with their places in the coordinates of the site.
    measuring_points : pandas.DataFrame
        Measuring points on record, as `gwnet.store.fetch.registry.measuring_points`.
    construction : pandas.DataFrame
        Parts of the wells, as `gwnet.store.fetch.registry.construction`.
    unit_m : float, optional
        Metres of one unit of the coordinates.

    Returns
    -------
    pandas.DataFrame
        The thresholds with elevation_m, positive upward; NaN where the measuring point or the ground is not known [m].
        lowest_shown_m is the lowest water elevation that the well can show: the bottom of its screen where it is closed
        below it, else its bottom as built; NaN where neither or no ground is on record [m]. Both are NaN for limits on
        changes and gradients. distance_m is the horizontal distance to the other well of a gradient; NaN where it is
        not known or zero [m]. limit_m is what levels are held against: the elevation, the change, or the difference of
        head that the gradient makes over the distance [m].

    Notes
    -----
    A threshold given as a depth counts from the measuring point of access ``main`` that is in force last, or from the
    ground there: a new survey moves it with the well. Common practice, no source.
    """
    main = measuring_points[(measuring_points["access"] == "main") & measuring_points["retired_at_utc"].isna()]
    last = main.sort_values("valid_from_utc", kind="stable").groupby("well_id").tail(1).set_index("well_id")
    by_id = wells.set_index("well_id")

    def of_well(values: pd.Series) -> NDArray[np.float64]:
        return np.asarray(thresholds["well_id"].map(values), dtype=np.float64)

    point, height = of_well(last["elevation_m"]), of_well(last["height_above_ground_m"])
    # Ground from the point where its height is known, as depths of the levels are worked out.
    below_point = point - height
    ground = np.where(np.isnan(below_point), of_well(by_id["ground_elevation_m"]), below_point)
    value = thresholds["value_m"].to_numpy(dtype=np.float64)
    quantity = thresholds["quantity"].to_numpy(dtype=object)
    elevation = np.select(
        [quantity == "water_elevation", quantity == "depth_below_ground", quantity == "depth_to_water"],
        [value, ground - value, point - value],
        np.nan,
    )
    distance = _distances(thresholds, wells) * unit_m
    # Rounded, so that a level at the limit is not beyond it by a binary fraction.
    limit_m = np.select(
        [quantity == "change", quantity == "gradient"], [value, np.round(value * distance, DECIMALS)], elevation
    )
    screened = of_well(screen_limits(wells, construction).set_axis(wells["well_id"]))
    deepest = np.where(np.isnan(screened), of_well(by_id["total_depth_m"]), screened)
    # A well shows nothing below its screen, or else below its bottom.
    lowest = np.where(np.isnan(elevation), np.nan, ground - deepest)
    return thresholds.assign(elevation_m=elevation, lowest_shown_m=lowest, distance_m=distance, limit_m=limit_m)


def _distances(thresholds: pd.DataFrame, wells: pd.DataFrame) -> NDArray[np.float64]:
    """Return the distance of each threshold's well to the other one, in the unit of the coordinates."""
    if "other_well" not in thresholds or not (thresholds["other_well"] != "").any():
        return np.full(len(thresholds), np.nan)
    places = wells.drop_duplicates(["site", "well"]).set_index(["site", "well"])[["easting", "northing"]]
    ends = [
        places.reindex(pd.MultiIndex.from_arrays([thresholds["site"], thresholds[name]])).to_numpy(dtype=np.float64)
        for name in ("well", "other_well")
    ]
    apart = np.hypot(*(ends[0] - ends[1]).T)
    # Two wells at one place have no gradient.
    return np.where(apart > 0.0, apart, np.nan)
