"""Down to which depth a level in a well is aquifer head: the bottom of the screen, where the well is closed below it.

Water below the lowest screen stands in a closed pipe and is not aquifer head. That needs a closed pipe: a sump, casing
or seal on record below the screen, or a well that ends with it. A well that goes on below its screen without any of
them may be open there, so its levels are not cut off at the screen.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from gwnet.constants import UNRECORDED_SUMP_M

#: Parts that close a well below its screen.
_CLOSING_PARTS: Final = ("sump", "casing", "seal", "backfill")


def screen_limits(wells: pd.DataFrame, parts: pd.DataFrame) -> pd.Series:
    """Return below which depth water in each well is not aquifer head.

    Parameters
    ----------
    wells : pandas.DataFrame
        As `gwnet.store.fetch.registry.wells`.
    parts : pandas.DataFrame
        As `gwnet.store.fetch.registry.construction`.

    Returns
    -------
    pandas.Series
        By the index of ``wells``: depth below ground, positive downward; NaN where no screen is on record, or where the
        well goes on below it and nothing on record closes it [m].

    Notes
    -----
    Of a screen of several intervals the lowest bottom counts. A well that ends within `UNRECORDED_SUMP_M` below its
    screen, or whose depth is not on record, ends with the screen. Common practice, no source.
    """
    lowest = wells["screen_bottom_m"].astype(np.float64)
    standing = parts[parts["removed_on"].isna()]
    closing = standing[standing["part"].isin(_CLOSING_PARTS)]
    limit_of_part = closing["well_id"].map(lowest.set_axis(wells["well_id"]))
    # Beyond rounding: a casing that ends with the screen closes nothing below it.
    is_below = closing["bottom_depth_m"] > limit_of_part + 1e-6
    is_closed = wells["well_id"].isin(closing.loc[is_below, "well_id"])
    depth = wells["total_depth_m"].astype(np.float64)
    # "Not deeper", which a depth that is not on record fulfils as well.
    ends_there = ~(depth > lowest + UNRECORDED_SUMP_M)
    return lowest.where(is_closed | ends_there)
