"""Levels held against a threshold: readings in one lane, days of loggers in another.

Every level of the well has a row, beyond the threshold or not; those that do not serve are left out with the reason, so
that a figure can show them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.bounds import bound_elevations
from gwnet.analysis.levels.serving import judge_levels
from gwnet.hydro.reduction.thresholds import CROSSED as _AT_OR_BEYOND
from gwnet.hydro.reduction.thresholds import NOT_CROSSED as _SHORT_OF
from gwnet.hydro.reduction.thresholds import threshold_state

#: What is known of one level.
BEYOND: Final = "beyond"
NOT_BEYOND: Final = "not beyond"
UNDETERMINED: Final = "undetermined"
LEFT_OUT: Final = "left out"

#: Where levels come from: one lane each.
MANUAL: Final = "manual"
LOGGER: Final = "logger"
SOURCES: Final = (MANUAL, LOGGER)

#: Columns of `lanes_of`.
LANE_COLUMNS: Final = tuple(
    "source day measured_at value_m uncertainty_m bound state reason review extreme_m extreme_at".split()
)

_SIGN: Final = {"<=": -1, ">=": 1, "": 0}
_EMPTY: Final = pd.DataFrame({name: pd.Series(dtype=object) for name in LANE_COLUMNS})


def lanes_of(limit: Mapping[str, Any], levels: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Return the levels of a well held against one of its thresholds.

    Parameters as `gwnet.analysis.thresholds`.

    Parameters
    ----------
    limit : mapping
        Row of the thresholds.
    levels, days : pandas.DataFrame
        Those of the well.

    Returns
    -------
    pandas.DataFrame
        Columns of `LANE_COLUMNS`, readings before days, in order of time: source (one of `SOURCES`); local day;
        measured_at as text; value_m, the water elevation that counts, of a bound the bound; its 95 % half-width;
        bound; state (beyond, not beyond, undetermined, left out); reason of what is left out; review; and extreme_m
        with extreme_at, of a day the head farthest towards the threshold and its time, of a reading the reading [m].

    Notes
    -----
    A level at the threshold is beyond it. A day of a logger counts by its mean: single samples may be spikes. Only
    levels of the time in which the threshold is in force are held against it. Common practice, no source.
    """
    manual = levels[levels["method"] != LOGGER] if len(levels) else levels
    lanes = [
        _lane(limit, source, rows[_in_force(limit, rows)])
        for source, rows in ((MANUAL, manual), (LOGGER, days))
        if len(rows)
    ]
    lanes = [lane for lane in lanes if len(lane)]
    return pd.concat(lanes, ignore_index=True) if lanes else _EMPTY


def _in_force(limit: Mapping[str, Any], rows: pd.DataFrame) -> pd.Series:
    """Return which levels were measured while a threshold was in force."""
    inside = pd.Series(True, index=rows.index)
    if not pd.isna(limit["valid_from_utc"]):
        inside &= rows["measured_at_utc"] >= limit["valid_from_utc"]
    if not pd.isna(limit["valid_until_utc"]):
        inside &= rows["measured_at_utc"] < limit["valid_until_utc"]
    return inside


def _lane(limit: Mapping[str, Any], source: str, rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows.sort_values(["measured_at_utc", "event_id"], kind="stable")
    judged = judge_levels(rows, "threshold")
    serves = judged["serves"].to_numpy(dtype=bool)
    value = bound_elevations(rows)
    bound = rows["bound"].to_numpy(dtype=object)
    signs = np.array([_SIGN[sign] for sign in bound], dtype=np.int64)
    level, kind = float(limit["elevation_m"]), str(limit["kind"])
    states = threshold_state(value, level, kind=kind, bound=signs)
    words = np.select(
        [~serves, states == _AT_OR_BEYOND, states == _SHORT_OF], [LEFT_OUT, BEYOND, NOT_BEYOND], UNDETERMINED
    )
    end = "lowest" if kind == "lower" else "highest"
    if f"{end}_m" in rows:
        extreme, when = rows[f"{end}_m"].to_numpy(dtype=np.float64), rows[f"{end}_at"].to_numpy(dtype=object)
        known = ~np.isnan(extreme)
        extreme, when = np.where(known, extreme, value), np.where(known, when, rows["measured_at"])
    else:
        extreme, when = value, rows["measured_at"].to_numpy(dtype=object)
    return pd.DataFrame(
        {
            "source": source,
            "day": rows["day"].to_numpy(),
            "measured_at": rows["measured_at"].to_numpy(dtype=object),
            "value_m": value,
            "uncertainty_m": rows["uncertainty_m"].to_numpy(dtype=np.float64),
            "bound": bound,
            "state": words.astype(object),
            "reason": judged["reason"].to_numpy(dtype=object),
            "review": rows["review"].to_numpy(dtype=object),
            "extreme_m": extreme,
            "extreme_at": when,
        }
    )
