"""Which levels of a record take part in its statistics: usable ones as numbers, accepted dry ones as bounds.

Everything else is left out and told with its reason.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from gwnet.analysis.levels.table import UNUSABLE_QUALITIES

#: Columns of the levels that take part.
COLUMNS = ("site", "well", "day", "low", "high", "source")

#: Columns of those that do not.
LEFT_OUT_COLUMNS = ("site", "well", "measured_at", "status", "water_elevation_m", "quality", "review", "reason")


def used_levels(levels: pd.DataFrame, *, approved: bool = False) -> tuple[pd.DataFrame, dict[tuple[str, str], str]]:
    """Return the levels that take part in statistics, and for each well how many others there are and why.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.table.levels`.
    approved : bool, optional
        Whether only levels that a review approved take part; provisional ones do as well unless said.

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
    segment, bounds, reasons = _judged(levels, approved)
    method = levels["method"] if "method" in levels else pd.Series("", index=levels.index)
    used = pd.DataFrame(
        {
            "site": levels["site"],
            "well": levels["well"],
            "day": levels["day"],
            "low": np.where(bounds, -np.inf, levels["water_elevation_m"]),
            "high": levels["water_elevation_m"],
            "source": np.where(method == "logger", "logger", "hand"),
        }
    )[segment]
    rest = levels.loc[~segment, ["site", "well"]].assign(reason=reasons[~segment])
    counts = rest.groupby(["site", "well", "reason"]).size()
    told: dict[tuple[str, str], list[str]] = {}
    for (site, well, reason), count in counts.items():
        told.setdefault((site, well), []).append(f"{count} {reason}")
    return used, {key: "; ".join(parts) for key, parts in told.items()}


def left_out_levels(levels: pd.DataFrame, *, approved: bool = False) -> pd.DataFrame:
    """Return the levels that take no part in statistics, each with its reason.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as of `gwnet.analysis.levels.table.levels`.
    approved : bool, optional
        Whether provisional levels are among them.

    Returns
    -------
    pandas.DataFrame
        Columns of `LEFT_OUT_COLUMNS`, in the order of ``levels``.
    """
    segment, _, reasons = _judged(levels, approved)
    return levels.assign(reason=reasons).loc[~segment, list(LEFT_OUT_COLUMNS)].reset_index(drop=True)


def _judged(levels: pd.DataFrame, approved: bool) -> tuple[Any, Any, Any]:
    """Return which levels take part, which of them are bounds, and why the others do not."""
    usable = levels["usable"].to_numpy(dtype=bool)
    dry = ((levels["status"] == "dry") & (levels["bound"] == "<=") & levels["water_elevation_m"].notna()).to_numpy()
    objection = np.where(levels["quality"].isin(UNUSABLE_QUALITIES), "quality " + levels["quality"], "")
    objection = np.where(levels["review"] == "on hold", "on hold", objection)
    objection = np.where(levels["review"] == "rejected", "rejected on review", objection)
    objection = np.where(levels["finding"].str.contains("two measuring points"), "two measuring points", objection)
    waiting = (levels["review"] == "provisional").to_numpy() & approved
    objection = np.where(waiting & (objection == ""), "provisional", objection)
    bounds = dry & (objection == "")
    reasons = levels["unusable_reason"].to_numpy(dtype=object)
    reasons = np.where(dry, "dry, " + objection.astype(object), reasons)
    reasons = np.where(waiting & usable, "provisional", reasons)
    return (usable & ~waiting) | bounds, bounds, reasons
