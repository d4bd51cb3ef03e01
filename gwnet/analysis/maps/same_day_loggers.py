"""Loggers in a same-day set: where no usable reading was made, a logger tells the level at the moment of the others.

A logger stands in where the reading failed, never where the water was the reason.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.clock import zone_of

#: Where a level of a control frame comes from; empty where there is none.
SOURCES: Final = ("hand", "logger", "stage")

#: What a crew met that says nothing of the water; at any other status the water itself stood in the way.
_SILENT: Final = ("no access", "not found", "obstructed", "not measured", "frozen")

#: Reasons that lie with the reading and not with the water.
_OF_THE_READING: Final = (
    "no water elevation",
    "quality suspect",
    "quality poor",
    "on hold",
    "rejected on review",
    "repeats disagree",
)

#: Words in a well's purpose or role that tell that it is pumped: a logger does not say when.
_PUMPED: Final = ("supply", "abstraction", "extraction", "production", "irrigation", "pumping", "pumped")


def may_stand_in(row: dict[str, Any]) -> bool:
    """Return whether a logger may give the level of a well in a same-day set.

    Parameters
    ----------
    row : dict
        Row of a control frame that is being made: has_level, status, usable, unusable_reason, purpose, role.

    Returns
    -------
    bool
        Whether nothing was read, or the reading and not the state of the water stands in the way: not where the well
        was dry, pumped, recovering or under another influence, nor in a well that is pumped for supply.
    """
    told = f"{row.get('purpose') or ''} {row.get('role') or ''}".lower().split()
    if any(word in _PUMPED for word in told):
        return False
    if not row["has_level"]:
        return True
    if row["usable"]:
        return False
    if row["status"] in _SILENT:
        return True
    return row["status"] == "static" and str(row["unusable_reason"]) in _OF_THE_READING


def with_logger_levels(control: pd.DataFrame, loggers: pd.DataFrame | None) -> pd.DataFrame:
    """Return a control frame that is being made with the levels of loggers where they may stand in.

    Parameters
    ----------
    control : pandas.DataFrame
        Wells with their levels and reasons; a reason that the level does not give (no aquifer, decommissioned, no
        coordinates) stays.
    loggers : pandas.DataFrame or None
        One row a well: well, measured_at, measured_at_utc, water_elevation_m, uncertainty_m.

    Returns
    -------
    pandas.DataFrame
        With column ``source``, and ``stood_in``: why there is no reading, where a logger stands in.
    """
    made = control.copy()
    made["source"] = np.where(made["has_level"] & made["water_elevation_m"].notna(), "hand", "")
    if loggers is None or loggers.empty:
        return made
    levels = loggers.set_index("well")
    for place, row in zip(made.index, made.to_dict("records"), strict=True):
        of_level = not row["has_level"] or not row["usable"]
        placed = pd.notna(row["easting"]) and pd.notna(row["northing"])
        if row["well"] not in levels.index or not of_level or not placed or not _stands(row) or not may_stand_in(row):
            continue
        level = levels.loc[row["well"]]
        made.loc[place, ["measured_at", "status", "reason", "source"]] = [level["measured_at"], "static", "", "logger"]
        made.loc[place, "measured_at_utc"] = level["measured_at_utc"]
        made.loc[place, ["water_elevation_m", "uncertainty_m"]] = [level["water_elevation_m"], level["uncertainty_m"]]
        made.loc[place, "time_known"] = True
        made.loc[place, "event_id"] = -1
    return made


def _stands(row: dict[str, Any]) -> bool:
    """Return whether the well's reason is of its level, not of the well itself."""
    words = str(row["reason"])
    return not words.startswith(("no aquifer", "taps another", "composite", "decommissioned", "drilled", "left out"))


def moment_of(control: pd.DataFrame, date: dt.date, time_zone: str) -> pd.Timestamp:
    """Return the moment of a same-day set: the median time of its used readings, so that a late one does not move it.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame.
    date : datetime.date
        Local date of the set.
    time_zone : str
        Time zone of the site.

    Returns
    -------
    pandas.Timestamp
        In UTC; noon of the date where no used reading of a well has a time of day.
    """
    used = control["used"].astype(bool) & (control["kind"] == "well") & control["time_known"].astype(bool)
    when = control.loc[used, "measured_at_utc"]
    if when.empty:
        noon = dt.datetime.combine(date, dt.time(12), tzinfo=zone_of(time_zone))
        return pd.Timestamp(noon).tz_convert("UTC")
    return pd.Timestamp(when.median()).floor("s")


def logger_text(control: pd.DataFrame) -> str:
    """Return which levels of a control frame come from loggers; empty for none.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame.

    Returns
    -------
    str
        A sentence.
    """
    if "source" not in control:
        return ""
    used = control[control["used"].astype(bool) & (control["source"] == "logger")]
    if used.empty:
        return ""
    named = ", ".join(
        f"{well} at {when[:16].replace('T', ' ')}" for well, when in zip(used["well"], used["measured_at"], strict=True)
    )
    return f"No usable reading by hand, so the level of the logger at the moment of the others: {named}."
