"""Loggers in a same-day set: where no usable reading was made, the level of a logger at the moment of the others.

A logger replaces a reading that failed, never one where the water was the reason. A sensor out of water gives a bound,
which no map takes; the well is left out with that reason.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.bounds import signs_of
from gwnet.analysis.levels.serving import describe_on_map, is_reading_at_fault
from gwnet.clock import zone_of
from gwnet.constants import RIVER_KIND

#: What levels of each source or kind are counted as.
_COUNTED: Final = {"manual": "manual reading", "logger": "logger", "stage": "gauge", RIVER_KIND: "river point"}

#: What a control frame says of a level of a logger.
_BY_LOGGER: Final[dict[str, Any]] = {
    "status": "static",
    "source": "logger",
    "time_known": True,
    "event_id": -1,
}

#: Words in a well's purpose or role by which it is pumped: a logger does not show when.
_PUMPED: Final = ("supply", "abstraction", "extraction", "production", "irrigation", "pumping", "pumped")


def may_replace_reading(row: dict[str, Any]) -> bool:
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
    purposes = f"{row.get('purpose') or ''} {row.get('role') or ''}".lower().split()
    if any(word in _PUMPED for word in purposes):
        # A pumped well's logger shows the pump as often as the aquifer, and no status tells when.
        return False
    if not row["has_level"]:
        return True
    if row["usable"]:
        return False
    return is_reading_at_fault(str(row["status"]), str(row["unusable_reason"]))


def with_logger_levels(control: pd.DataFrame, loggers: pd.DataFrame | None) -> pd.DataFrame:
    """Return a control frame that is being made with the levels of loggers where they may replace a reading.

    Parameters
    ----------
    control : pandas.DataFrame
        Wells with their levels and reasons; a reason that the level does not give (no aquifer, decommissioned, no
        coordinates) stays.
    loggers : pandas.DataFrame or None
        One row a well: well, measured_at, measured_at_utc, water_elevation_m, uncertainty_m, bound, usable,
        unusable_reason.

    Returns
    -------
    pandas.DataFrame
        With column ``source``.
    """
    read = control["has_level"] & control["water_elevation_m"].notna()
    filled = control.assign(source=np.where(read, "manual", ""))
    if loggers is None or loggers.empty:
        return filled
    numbers = ["measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m"]
    levels = loggers.assign(bound=signs_of(loggers)).set_index("well")[[*numbers, "bound"]].assign(**_BY_LOGGER)
    levels["reason"] = [describe_on_map(reason) if reason else "" for reason in loggers["unusable_reason"]]
    for place, row in zip(filled.index, filled.to_dict("records"), strict=True):
        # Without coordinates the reason is that of the well, whatever its level.
        placed = pd.notna(row["easting"]) and pd.notna(row["northing"])
        if row["well"] in levels.index and placed and _is_of_level(row) and may_replace_reading(row):
            filled.loc[place, list(levels.columns)] = levels.loc[row["well"]]
    return filled


def _is_of_level(row: dict[str, Any]) -> bool:
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
    # half a second of a median is no moment at which anybody read
    return pd.Timestamp(when.median()).floor("s")


def count_text(control: pd.DataFrame) -> str:
    """Return how many levels of each kind a control frame uses.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    str
        For example ``13 manual readings, 2 loggers and 2 gauges``; kinds without a level are passed over.
    """
    used = control.loc[control["used"].astype(bool), ["kind", "source"]]
    kinds = used["source"].where(used["kind"] == "well", used["kind"]).value_counts()
    parts = [
        f"{kinds[kind]} {word}{'' if kinds[kind] == 1 else 's'}" for kind, word in _COUNTED.items() if kind in kinds
    ]
    return " and ".join(filter(None, (", ".join(parts[:-1]), *parts[-1:]))) or "no level"


def logger_text(control: pd.DataFrame) -> str:
    """Return which levels of a control frame come from loggers; empty for none.

    Parameters as `gwnet.analysis.maps`.
    """
    if "source" not in control:
        return ""
    used = control[control["used"].astype(bool) & (control["source"] == "logger")]
    if used.empty:
        return ""
    named = ", ".join(
        f"{well} at {when[:16].replace('T', ' ')}" for well, when in zip(used["well"], used["measured_at"], strict=True)
    )
    return f"No usable manual reading, so the level of the logger at the moment of the others: {named}."
