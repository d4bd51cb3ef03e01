"""Thresholds as water elevations, whatever they were given as."""

from __future__ import annotations

import numpy as np
import pandas as pd


def with_elevations(thresholds: pd.DataFrame, wells: pd.DataFrame, measuring_points: pd.DataFrame) -> pd.DataFrame:
    """Return thresholds with a column ``elevation_m``.

    Parameters
    ----------
    thresholds : pandas.DataFrame
        As `gwnet.store.fetch.programme.thresholds`.
    wells : pandas.DataFrame
        As `gwnet.store.fetch.registry.wells`.
    measuring_points : pandas.DataFrame
        Measuring points on record, as `gwnet.store.fetch.registry.measuring_points`.

    Returns
    -------
    pandas.DataFrame
        The thresholds with elevation_m, positive upward; NaN where the measuring point or the ground is not known [m].

    Notes
    -----
    A threshold given as a depth counts from the measuring point of access ``main`` that is in force last, or from the
    ground there: a new survey moves it with the well. Common practice, no source.
    """
    main = measuring_points[(measuring_points["access"] == "main") & measuring_points["retired_at_utc"].isna()]
    last = main.sort_values("valid_from_utc", kind="stable").groupby("well_id").tail(1).set_index("well_id")
    point = thresholds["well_id"].map(last["elevation_m"]).to_numpy(dtype=np.float64)
    height = thresholds["well_id"].map(last["height_above_ground_m"]).to_numpy(dtype=np.float64)
    ground_of_well = thresholds["well_id"].map(wells.set_index("well_id")["ground_elevation_m"]).to_numpy(np.float64)
    ground = np.where(np.isnan(point - height), ground_of_well, point - height)
    value = thresholds["value_m"].to_numpy(dtype=np.float64)
    quantity = thresholds["quantity"].to_numpy(dtype=object)
    elevation = np.select(
        [quantity == "water_elevation", quantity == "depth_below_ground"], [value, ground - value], point - value
    )
    return thresholds.assign(elevation_m=elevation)
