"""What surrounds the levels of a hydrograph: measuring points, ground, thresholds, screens, rainfall, abstraction."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.clock import zone_of
from gwnet.constants import DAYS_PER_YEAR
from gwnet.figures.base.axes import to_local_days
from gwnet.figures.base.text import plain, shown

#: Records longer than this [years] show rainfall and abstraction by the year.
_YEARLY_BARS_FROM: Final = 30


@dataclass(frozen=True, slots=True)
class LevelLine:
    """A horizontal line with its label: a threshold, the ground or the bottom of the well.

    Parameters
    ----------
    kind : {"lower", "upper", "ground", "bottom"}
        What it is.
    label : str
        Name as printed, without the elevation.
    elevation_m : float
        Elevation above the vertical datum [m].
    first, last : float
        Days since 1970-01-01 in which it holds; the ends of the axis when it holds throughout.
    """

    kind: str
    label: str
    elevation_m: float
    first: float
    last: float


@dataclass(frozen=True, slots=True)
class PointChange:
    """A change of the measuring point: when, and what it says."""

    days: float
    label: str


@dataclass(frozen=True, slots=True, eq=False)
class ContextBars:
    """Rainfall, abstraction or the like, month by month or year by year.

    Parameters
    ----------
    label, unit : str
        What it is and its unit, as printed.
    left, width : numpy.ndarray
        Start and length of each bar [d].
    value : numpy.ndarray
        Height of each bar.
    """

    label: str
    unit: str
    left: NDArray[np.float64]
    width: NDArray[np.float64]
    value: NDArray[np.float64]


def row_of(wells: pd.DataFrame | None, well: str) -> Mapping[str, Any]:
    """Return the row of a well in the wells frame, empty when there is none."""
    if wells is None or wells.empty:
        return {}
    rows = wells[wells["well"] == well]
    return {} if rows.empty else {str(key): value for key, value in rows.iloc[0].to_dict().items()}


def points_of(points: pd.DataFrame | None, well: str) -> pd.DataFrame | None:
    """Return the measuring points of a well in order of time, without retired ones; None when there is none."""
    if points is None or points.empty:
        return None
    own = points[points["well"] == well]
    if "retired_at_utc" in own.columns:
        own = own[own["retired_at_utc"].isna()]
    return None if own.empty else own.sort_values(["valid_from_utc", "access"], kind="stable")


def number_of(value: Any) -> float:
    """Return a value of a frame as a number, NaN when there is none."""
    return math.nan if value is None or value is pd.NaT or value is pd.NA else float(value)


def ground_elevation(well_row: Mapping[str, Any], points: pd.DataFrame | None) -> float:
    """Return the elevation of the ground [m], surveyed or from the newest measuring point; NaN when unknown."""
    given = number_of(well_row.get("ground_elevation_m"))
    if math.isfinite(given) or points is None:
        return given
    heights = points[points["height_above_ground_m"].notna()]
    if heights.empty:
        return math.nan
    newest = heights.iloc[-1]
    return float(newest["elevation_m"]) - float(newest["height_above_ground_m"])


def newest_point(points: pd.DataFrame | None, zone: str) -> tuple[float, str]:
    """Return elevation [m] and description of the newest measuring point of the main access."""
    if points is None:
        return math.nan, ""
    main = points[points["access"] == "main"]
    # Depths on the right count from the main access; only a well without one takes another.
    newest = (main if not main.empty else points).iloc[-1]
    since = _local_date(newest["valid_from_utc"], zone)
    access = "" if newest["access"] == "main" else f"{shown(newest['access'])}, "
    until = newest.get("valid_until_utc")
    held = f"since {since}" if until is None or pd.isna(until) else f"{since} to {_local_date(until, zone)}"
    return float(newest["elevation_m"]), f"{access}{held}"


def _local_date(moment: Any, zone: str) -> str:
    local: dt.datetime = pd.Timestamp(moment).to_pydatetime()
    if local.tzinfo is None:
        local = local.replace(tzinfo=dt.UTC)
    return local.astimezone(zone_of(zone)).date().isoformat()


def point_changes(
    points: pd.DataFrame | None, zone: str, first: float, last: float, factor: float, decimals: int
) -> tuple[PointChange, ...]:
    """Return the changes of measuring points within the time axis, labelled in the unit of drawing."""
    if points is None:
        return ()
    changes = []
    for access, rows in points.groupby("access", sort=True):
        days = to_local_days(rows["valid_from_utc"].tolist(), zone)
        elevations = rows["elevation_m"].to_numpy(dtype=np.float64)
        words = [plain(word) or "changed" for word in rows.get("change", pd.Series("", index=rows.index))]
        name = "" if access == "main" else f"{shown(access)} "
        for i in range(1, len(rows)):
            if first <= days[i] <= last:
                old, new = elevations[i - 1] * factor, elevations[i] * factor
                text = f"{name}{shown(words[i])} {old:.{decimals}f} → {new:.{decimals}f}"
                changes.append(PointChange(float(days[i]), text))
    return tuple(sorted(changes, key=lambda change: (change.days, change.label)))


def threshold_lines(
    thresholds: pd.DataFrame | None, well: str, zone: str, first: float, last: float
) -> tuple[LevelLine, ...]:
    """Return the thresholds of a well that hold within the time axis."""
    if thresholds is None or thresholds.empty:
        return ()
    lines = []
    for row in thresholds[thresholds["well"] == well].to_dict("records"):
        elevation = number_of(row["elevation_m"])
        ends = to_local_days([row.get("valid_from_utc"), row.get("valid_until_utc")], zone)
        since = max(float(ends[0]), first) if math.isfinite(ends[0]) else first
        until = min(float(ends[1]), last) if math.isfinite(ends[1]) else last
        if math.isfinite(elevation) and since < until:
            lines.append(LevelLine(str(row["kind"]), shown(row["threshold"]), elevation, since, until))
    return tuple(lines)


def screens_of(
    construction: pd.DataFrame | None, well_row: Mapping[str, Any], well: str, ground: float
) -> tuple[tuple[float, float], ...]:
    """Return top and bottom elevation of each screen and open hole [m]; none without a ground elevation."""
    if not math.isfinite(ground):
        return ()
    screens: list[tuple[float, float]] = []
    if construction is not None and not construction.empty:
        own = construction[construction["well"] == well]
        if "removed_on" in own.columns:
            own = own[own["removed_on"].isna() | (own["removed_on"] == "")]
        own = own[own["part"].isin(("screen", "open hole"))]
        screens = [
            (ground - float(top), ground - float(bottom))
            for top, bottom in zip(own["top_depth_m"], own["bottom_depth_m"], strict=True)
            if pd.notna(top) and pd.notna(bottom)
        ]
    if not screens:
        top, bottom = number_of(well_row.get("screen_top_m")), number_of(well_row.get("screen_bottom_m"))
        if math.isfinite(top) and math.isfinite(bottom):
            # The well's own screen, where no construction is on record.
            screens = [(ground - top, ground - bottom)]
    return tuple(sorted(screens, reverse=True))


def context_bars(context: pd.DataFrame | None, first: float, last: float) -> tuple[ContextBars, ...]:
    """Return rainfall, abstraction and the like by month, or by year for long records."""
    if context is None or context.empty:
        return ()
    yearly = (last - first) / DAYS_PER_YEAR > _YEARLY_BARS_FROM
    bars = []
    for (series, quantity, unit), rows in context.groupby(["series", "quantity", "unit"], sort=True):
        days = pd.to_datetime(rows["date"]).to_numpy(dtype="datetime64[D]")
        values = rows["value"].to_numpy(dtype=np.float64)
        period = days.astype("datetime64[Y]" if yearly else "datetime64[M]")
        begins = period.astype("datetime64[D]").astype(np.float64)
        ends = (period + 1).astype("datetime64[D]").astype(np.float64)
        inside = np.isfinite(values) & (ends > first) & (begins < last)
        if not inside.any():
            continue
        # Summed by the calendar and not by thirty days: months are what rainfall is compared by.
        starts, member = np.unique(period[inside], return_inverse=True)
        sums = np.bincount(member, weights=values[inside])
        summed = "/" not in str(unit) and quantity in ("rainfall", "abstraction")
        left = starts.astype("datetime64[D]").astype(np.float64)
        right = (starts + 1).astype("datetime64[D]").astype(np.float64)
        name = shown(quantity if quantity != "other" else series)
        how = f"{'yearly' if yearly else 'monthly'} {'sum' if summed else 'mean'}"
        divisors = np.ones(sums.size) if summed else np.bincount(member).astype(np.float64)
        bars.append(ContextBars(f"{name}, {how}", shown(unit), left, right - left, sums / divisors))
    return tuple(bars)
