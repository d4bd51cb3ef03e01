"""Thresholds as water elevations, whatever they were given as, and the lowest level that their wells can show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.screen_limits import screen_limits


def with_elevations(
    thresholds: pd.DataFrame, wells: pd.DataFrame, measuring_points: pd.DataFrame, construction: pd.DataFrame
) -> pd.DataFrame:
    """Return thresholds with columns ``elevation_m`` and ``lowest_shown_m``.

    Parameters
    ----------
    thresholds : pandas.DataFrame
        As `gwnet.store.fetch.programme.thresholds`.
    wells : pandas.DataFrame
        As `gwnet.store.fetch.registry.wells`.
    measuring_points : pandas.DataFrame
        Measuring points on record, as `gwnet.store.fetch.registry.measuring_points`.
    construction : pandas.DataFrame
        Parts of the wells, as `gwnet.store.fetch.registry.construction`.

    Returns
    -------
    pandas.DataFrame
        The thresholds with elevation_m, positive upward; NaN where the measuring point or the ground is not known [m].
        lowest_shown_m is the lowest water elevation that the well can show: the bottom of its screen where it is closed
        below it, else its bottom as built; NaN where neither or no ground is on record [m].

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
    ground = np.where(np.isnan(point - height), of_well(by_id["ground_elevation_m"]), point - height)
    value = thresholds["value_m"].to_numpy(dtype=np.float64)
    quantity = thresholds["quantity"].to_numpy(dtype=object)
    elevation = np.select(
        [quantity == "water_elevation", quantity == "depth_below_ground"], [value, ground - value], point - value
    )
    limit = of_well(screen_limits(wells, construction).set_axis(wells["well_id"]))
    deepest = np.where(np.isnan(limit), of_well(by_id["total_depth_m"]), limit)
    return thresholds.assign(elevation_m=elevation, lowest_shown_m=ground - deepest)
