"""Which levels of a record take part in its statistics: usable ones as numbers, accepted dry ones as bounds.

Everything else is left out and told with its reason.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from gwnet.analysis.levels import UNUSABLE_QUALITIES

#: Columns of the levels that take part.
COLUMNS = ("site", "well", "day", "low", "high", "source")


def used_levels(levels: pd.DataFrame) -> tuple[pd.DataFrame, dict[tuple[str, str], str]]:
    """Return the levels that take part in statistics, and for each well how many others there are and why.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.levels`.

    Returns
    -------
    used : pandas.DataFrame
        Columns of `COLUMNS`, with the index of ``levels``: day (local date), low and high (lowest and highest possible
        water elevation, equal for a number; low is −infinity for a bound) [m], and source: ``logger`` where the method
        says so, else ``hand``.
    left_out : dict
        For each (site, well) with others: counts with reasons, such as ``2 pumping; 1 quality poor``.

    Notes
    -----
    A dry level takes part as a bound unless its quality, its review or its measuring point speaks against it.
    """
    usable = levels["usable"].to_numpy(dtype=bool)
    dry = ((levels["status"] == "dry") & (levels["bound"] == "<=") & levels["water_elevation_m"].notna()).to_numpy()
    objection = np.where(levels["quality"].isin(UNUSABLE_QUALITIES), "quality " + levels["quality"], "")
    objection = np.where(levels["review"] == "on hold", "on hold", objection)
    objection = np.where(levels["review"] == "rejected", "rejected on review", objection)
    objection = np.where(levels["finding"].str.contains("two measuring points"), "two measuring points", objection)
    bounds = dry & (objection == "")
    reasons = levels["unusable_reason"].to_numpy(dtype=object)
    reasons = np.where(dry, "dry, " + objection.astype(object), reasons)
    take = usable | bounds
    method = levels["method"] if "method" in levels else pd.Series("", index=levels.index)
    used = pd.DataFrame(
        {
            "site": levels["site"],
            "well": levels["well"],
            "day": pd.to_datetime(levels["measured_at"].str[:10], format="%Y-%m-%d"),
            "low": np.where(bounds, -np.inf, levels["water_elevation_m"]),
            "high": levels["water_elevation_m"],
            "source": np.where(method == "logger", "logger", "hand"),
        }
    )[take]
    rest = levels.loc[~take, ["site", "well"]].assign(reason=reasons[~take])
    counts = rest.groupby(["site", "well", "reason"]).size()
    told: dict[tuple[str, str], list[str]] = {}
    for (site, well, reason), count in counts.items():
        told.setdefault((site, well), []).append(f"{count} {reason}")
    return used, {key: "; ".join(parts) for key, parts in told.items()}
