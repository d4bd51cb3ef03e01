"""Heads of loggers as a table of samples, over a span that was given as dates or instants."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.clock import local_text, to_utc
from gwnet.errors import SettingsError

#: Columns of a table of heads.
HEAD_COLUMNS: Final = tuple(
    (
        "site well instrument measured_at measured_at_utc bound water_elevation_m uncertainty_m sensor_level_m "
        "unusable_reason"
    ).split()
)


def heads_table(deployments: Sequence[LoggerHeads], zones: Mapping[str, str], *, excluded: bool) -> pd.DataFrame:
    """Return heads as a table, one row a sample.

    Parameters
    ----------
    deployments : sequence of LoggerHeads
        Heads of deployments.
    zones : mapping
        Time zone of each site.
    excluded : bool
        Whether samples that have neither head nor bound are listed as well.

    Returns
    -------
    pandas.DataFrame
        Columns of `HEAD_COLUMNS`, by site, well and time. ``bound`` is ``<=`` where the sensor had no water above it
        and the elevation is its own; ``unusable_reason`` is why a sample has no head.
    """
    frames = [_table(heads, zones[heads.site], excluded=excluded) for heads in deployments]
    frames = [frame for frame in frames if len(frame)]
    if not frames:
        nothing = pd.DataFrame(columns=list(HEAD_COLUMNS))
        return nothing.astype({"measured_at_utc": "datetime64[us, UTC]", "water_elevation_m": "float64"})
    table = pd.concat(frames, ignore_index=True)
    return table.sort_values(["site", "well", "measured_at_utc", "instrument"], kind="stable", ignore_index=True)


def _table(heads: LoggerHeads, zone: str, *, excluded: bool) -> pd.DataFrame:
    level, half_width, is_bound = heads.levels()
    # Bounds are shown as levels are, since they say something of the water.
    keep = np.ones(len(heads), dtype=bool) if excluded else (heads.out == 0) | is_bound
    reasons = np.array(OUT_REASONS, dtype=object)
    return pd.DataFrame(
        {
            "site": heads.site,
            "well": heads.well,
            "instrument": heads.instrument,
            "measured_at": local_text(heads.time_utc[keep], zone),
            "measured_at_utc": pd.DatetimeIndex(heads.time_utc[keep]).tz_localize("UTC"),
            "bound": np.where(is_bound[keep], "<=", "").astype(object),
            "water_elevation_m": level[keep],
            "uncertainty_m": half_width[keep],
            "sensor_level_m": heads.sensor_level_m[keep],
            "unusable_reason": reasons[heads.out[keep]],
        }
    )


def span_of(
    start: dt.date | dt.datetime | str | None, end: dt.date | dt.datetime | str | None, zone: str
) -> tuple[dt.datetime | None, dt.datetime | None]:
    """Return a half-open span in UTC from local dates, both included, or instants.

    Parameters
    ----------
    start, end : date, datetime, str or None
        Local dates, or aware times; None for open.
    zone : str
        Time zone of the dates.

    Returns
    -------
    tuple of datetime.datetime or None
        Start and end; the latter just after what it names.

    Raises
    ------
    SettingsError
        If one is no date or time, or a time without a zone.
    """
    first, last = (_parsed(moment) if isinstance(moment, str) else moment for moment in (start, end))
    return (
        None if first is None else _instant(first, zone, days=0),
        None if last is None else _instant(last, zone, days=1),
    )


def _instant(moment: dt.date | dt.datetime, zone: str, *, days: int) -> dt.datetime:
    if isinstance(moment, dt.datetime):
        if moment.tzinfo is None:
            message = f"The time {moment.isoformat()} has no zone."
            raise SettingsError(message, fix="Give a date, or a time with an offset.")
        # an end that is an instant is part of the span
        return moment.astimezone(dt.UTC) + dt.timedelta(microseconds=days)
    midnight = np.array([moment + dt.timedelta(days=days)], dtype="datetime64[us]")
    utc = to_utc(midnight, zone).utc[0]
    if np.isnat(utc):  # summer time begins or ends at midnight there: an hour later is the first that is there once
        utc = to_utc(np.asarray(midnight + np.timedelta64(3600, "s"), dtype="datetime64[us]"), zone).utc[0]
    instant: dt.datetime = utc.astype("datetime64[us]").item()
    return instant.replace(tzinfo=dt.UTC)


def _parsed(text: str) -> dt.date | dt.datetime:
    try:
        return dt.date.fromisoformat(text) if len(text) <= 10 else dt.datetime.fromisoformat(text)
    except ValueError:
        message = f"Not a date or time: {text!r}."
        raise SettingsError(message, fix="Write YYYY-MM-DD, or YYYY-MM-DDTHH:MM with an offset.") from None
