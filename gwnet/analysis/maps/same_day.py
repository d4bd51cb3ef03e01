"""The same-day set: which levels of one aquifer may stand on one map, and why each of the others may not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.bounds import signs_of
from gwnet.analysis.levels.serving import describe_on_map
from gwnet.analysis.maps.same_day_loggers import with_logger_levels
from gwnet.clock import zone_of
from gwnet.constants import ONE_WELL_A_PLACE, OTHER_AQUIFER
from gwnet.errors import AnalysisError, NotFoundError, SettingsError

#: Columns of the control frame, in order.
CONTROL_COLUMNS: Final = tuple(
    (
        "site well kind easting northing measured_at measured_at_utc water_elevation_m uncertainty_m status used "
        "reason time_known cluster event_id screen_length_m screen_middle_m ground_elevation_m source bound"
    ).split()
)

#: Joins the codes of the aquifers that a composite well is open to.
COMPOSITE: Final = "+"

#: Reason of a well without an aquifer.
NO_AQUIFER: Final = "no aquifer on record"

#: Wells nearer to each other than this stand at one place [m] (project default).
ONE_PLACE_M: Final = 0.5


@dataclass(frozen=True)
class Span:
    """How long the levels of a set took.

    Attributes
    ----------
    hours : float
        Hours from the first to the last level whose time of day is known; NaN for fewer than two.
    days : int
        Local dates from the first to the last, both counted; 0 when nothing was measured.
    untimed : int
        Levels whose time of day is not known.
    text : str
        The same in words.
    """

    hours: float
    days: int
    untimed: int
    text: str


def same_day_set(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    aquifer: str,
    date: dt.date,
    time_zone: str,
    window_days: float = 0.0,
    stages: pd.DataFrame | None = None,
    site: str | None = None,
    exclude: Collection[str] = (),
    loggers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the levels of an aquifer that belong on one map, and the wells that do not, each with its reason.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels, as `gwnet.analysis.levels.table.levels`.
    wells : pandas.DataFrame
        Wells with their coordinates in the site's system, as `gwnet.analysis.levels.places.located`.
    aquifer : str
        Code of the aquifer.
    date : datetime.date
        Local date of the site.
    time_zone : str
        Time zone of the site.
    window_days : float, optional
        Half-width of the window about that date; 0 for that date only.
    stages : pandas.DataFrame, optional
        Surface-water stages, as `gwnet.store.fetch.programme.stages`; those in contact with the aquifer are control.
    site : str, optional
        Code of the site; needed when the aquifer has wells at more than one.
    exclude : collection of str, optional
        Wells and gauges to be left out by request.
    loggers : pandas.DataFrame, optional
        Levels of loggers, as `gwnet.analysis.loggers.levels.levels_for_sets`; they are used where no usable reading was
        made (`gwnet.analysis.maps.same_day_loggers.may_replace_reading`).

    Returns
    -------
    pandas.DataFrame
        Columns of `CONTROL_COLUMNS`; one row a well or gauge, sorted by kind and name. Elevations positive upward [m].
        ``reason`` is empty where ``used``; ``screen_middle_m`` is the elevation of the screen's midpoint; ``source`` is
        manual, logger or stage, and empty without a level; ``bound`` is ``<=`` or ``>=`` where the level is only that.

    Raises
    ------
    NotFoundError
        If the aquifer has no well and no gauge, or a name in `exclude` is none of them.
    AnalysisError
        If the aquifer has wells at several sites and none is named.
    SettingsError
        If the window is negative.

    Notes
    -----
    The window runs, in the site's local time, from the start of the date less the half-width to the end of the date
    plus it. Levels whose time of day is not known count as taken at noon.

    Of several levels of a well in the window, one that may be used goes before one that may not; then the one nearest
    to noon of the date, then the earlier, then the access ``main``.

    Of several wells at one place (one cluster, or nearer than 0.5 m) one is used: the one whose screen's midpoint lies
    nearest in elevation to the median of the other wells' midpoints, then the smaller uncertainty, then the first by
    name. One map shows one depth of one aquifer (NR 716.15(4)(b)2; ASTM D6000, section 1.4).

    Wells of other aquifers, composite ones (whose aquifer joins several codes, as ``upper+lower``) and wells without an
    aquifer on record are left out with that reason where they have a level in the window, and else are not in the set.
    """
    if not window_days >= 0.0:
        message = f"A window must be 0 days or more, not {window_days:g}."
        raise SettingsError(message)
    wells = _wells_of(wells, aquifer, site)
    near = _in_window(levels, date, time_zone, window_days)
    # A code of a well may be used at several sites.
    near = near[near["site"].isin(wells["site"].unique())]
    chosen = _one_level_a_well(near)
    own = wells["aquifer"] == aquifer
    gauges = _stage_rows(stages, wells, aquifer=aquifer, date=date, time_zone=time_zone, window_days=window_days)
    # Wells of other aquifers only where they were read that day: else the list would name the whole site.
    wells = wells[own | wells["well"].isin(chosen["well"])]
    control = _join(wells, chosen)
    control["reason"] = [_reason(row, aquifer, date, window_days) for row in control.to_dict("records")]
    # After the reasons, which say whether a logger may replace a reading.
    control = with_logger_levels(control, loggers)
    control = pd.concat([control, gauges], ignore_index=True) if len(gauges) else control
    # A well without an aquifer may be one of this; it is listed with that reason instead of stopping.
    if not own.any() and not len(gauges) and not (control["reason"] == NO_AQUIFER).any():
        message = f"No well and no gauge of aquifer {aquifer!r} is on record."
        raise NotFoundError(message)
    # Before wells of one place are compared, so that another one can stand for a well that is left out.
    control = leave_out(control, exclude)
    control = _one_well_a_place(control)
    control["used"] = control["reason"] == ""
    order = control["kind"].map({"well": 0, "stage": 1})
    control = control.assign(order=order).sort_values(["order", "site", "well"], kind="stable", ignore_index=True)
    return control[list(CONTROL_COLUMNS)]


def leave_out(control: pd.DataFrame, names: Collection[str]) -> pd.DataFrame:
    """Return a control frame with wells or gauges left out by request.

    Parameters
    ----------
    control : pandas.DataFrame
        Control frame.
    names : collection of str
        Wells and gauges.

    Returns
    -------
    pandas.DataFrame
        A copy in which they are not used, with the reason "left out by request".

    Raises
    ------
    NotFoundError
        If a name is not in the frame.
    """
    unknown = sorted(set(names) - set(control["well"]))
    if unknown:
        message = f"Not in the set, so it cannot be left out: {', '.join(unknown)}."
        raise NotFoundError(message, fix="Check the names against the wells and gauges of the aquifer.")
    asked = control["well"].isin(list(names)) & (control["reason"] == "")
    left = control.assign(reason=control["reason"].mask(asked, "left out by request"))
    if "used" in left:
        left["used"] = left["reason"] == ""
    return left


def span_of(control: pd.DataFrame) -> Span:
    """Return how long the used levels of a control frame took.

    Parameters as `gwnet.analysis.maps`.

    Returns
    -------
    Span
        Hours where times of day are known, and days.
    """
    used = control[control["used"].astype(bool)]
    if used.empty:
        return Span(float("nan"), 0, 0, "no levels")
    timed = used[used["time_known"].astype(bool)]
    # One timed level has no span.
    hours = float("nan")
    if len(timed) > 1:
        hours = float((timed["measured_at_utc"].max() - timed["measured_at_utc"].min()) / pd.Timedelta(hours=1))
    # Local dates, as texts have them; an instant near midnight lies on another day in UTC.
    dates = pd.to_datetime(used["measured_at"].str[:10])
    days = int((dates.max() - dates.min()).days) + 1
    untimed = len(used) - len(timed)
    words = [f"{days} days" if days > 1 else "one day"]
    if np.isfinite(hours) and not untimed:
        words.append(f"{hours:.1f} hours from the first to the last level")
    elif np.isfinite(hours):
        words.append(f"{hours:.1f} hours over the {len(timed)} levels with a known time of day")
    if untimed:
        words.append(f"time of day not known for {untimed} of {len(used)} levels")
    return Span(hours, days, untimed, "; ".join(words))


def _wells_of(wells: pd.DataFrame, aquifer: str, site: str | None) -> pd.DataFrame:
    """Return the wells of the site that has wells of the aquifer."""
    if site is not None:
        wells = wells[wells["site"] == site]
    sites = sorted(wells.loc[wells["aquifer"] == aquifer, "site"].unique())
    if len(sites) > 1:
        message = f"Aquifer {aquifer!r} has wells at {len(sites)} sites: {', '.join(sites)}."
        raise AnalysisError(message, fix="Name the site: a map is drawn in one coordinate system.")
    if sites:
        wells = wells[wells["site"] == sites[0]]
    return wells


def _local(times: pd.Series, time_zone: str) -> pd.Series:
    return times.dt.tz_convert(zone_of(time_zone)).dt.tz_localize(None)


def _in_window(table: pd.DataFrame, date: dt.date, time_zone: str, window_days: float) -> pd.DataFrame:
    """Return the rows measured within the window, with column ``from_noon``."""
    start = pd.Timestamp(date)
    reach = pd.Timedelta(days=window_days)
    # A first cut in UTC keeps the conversion to local time small.
    # Two days hold any zone's offset.
    rough = pd.Timedelta(days=2)
    utc = table["measured_at_utc"]
    first = (start - reach - rough).tz_localize("UTC")
    last = (start + reach + rough).tz_localize("UTC")
    table = table[(utc >= first) & (utc <= last)]
    local = _local(table["measured_at_utc"], time_zone)
    # Half-open at the end: midnight begins the next day.
    held = (local >= start - reach) & (local < start + pd.Timedelta(days=1) + reach)
    from_noon = (local - (start + pd.Timedelta(hours=12))).abs()
    return table.assign(from_noon=from_noon)[held]


def _one_level_a_well(near: pd.DataFrame) -> pd.DataFrame:
    """Return one level of each well."""
    ranked = near.assign(barred=~near["usable"].astype(bool), side_access=near["access"] != "main").sort_values(
        ["site", "well", "barred", "from_noon", "measured_at_utc", "side_access", "event_id"], kind="stable"
    )
    return ranked.drop_duplicates(["site", "well"])


def _join(wells: pd.DataFrame, chosen: pd.DataFrame) -> pd.DataFrame:
    """Return the wells with their level, as rows of a control frame that has no reasons yet."""
    taken = chosen.assign(bound=signs_of(chosen))[
        [
            *("site", "well", "measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m", "status"),
            *("usable", "unusable_reason", "time_known", "event_id", "bound"),
        ]
    ]
    control = wells.merge(taken, on=["site", "well"], how="left", validate="one_to_one")
    control["kind"] = "well"
    control["has_level"] = control["event_id"].notna()
    for column in ("measured_at", "status", "unusable_reason", "bound"):
        control[column] = control[column].astype(object).where(control["has_level"], "")
    for column in ("usable", "time_known"):
        # An outer join leaves neither True nor False.
        control[column] = control[column].eq(other=True)
    control[["cluster", "aquifer"]] = control[["cluster", "aquifer"]].astype(object).fillna("")
    control["event_id"] = control["event_id"].fillna(-1).astype(np.int64)
    middle = 0.5 * (control["screen_top_m"].astype(float) + control["screen_bottom_m"].astype(float))
    control["screen_length_m"] = control["screen_bottom_m"].astype(float) - control["screen_top_m"].astype(float)
    control["screen_middle_m"] = control["ground_elevation_m"].astype(float) - middle
    return control


def _other_aquifer(code: str, aquifer: str) -> str:
    """Return why a well's aquifer bars it; empty where it does not."""
    if not code:
        return NO_AQUIFER
    parts = [part.strip() for part in code.split(COMPOSITE)]
    if code != aquifer and aquifer in parts:
        return f"composite: open to {', '.join(parts[:-1])} and {parts[-1]}"
    return "" if code == aquifer else f"{OTHER_AQUIFER}: {code}"


def _reason(row: dict[str, Any], aquifer: str, date: dt.date, window_days: float) -> str:
    """Return why a well is not used; empty when it is."""
    barred = _other_aquifer(str(row["aquifer"]), aquifer)
    if barred:
        return barred
    if _day(row["decommissioned_on"]) is not None and _day(row["decommissioned_on"]) < date:
        return f"decommissioned on {_day(row['decommissioned_on'])}"
    if not row["has_level"]:
        if _day(row["drilled_on"]) is not None and _day(row["drilled_on"]) > date:
            return f"drilled after the date, on {_day(row['drilled_on'])}"
        return _missing_text(window_days)
    if not row["usable"]:
        return describe_on_map(str(row["unusable_reason"]))
    if pd.isna(row["easting"]) or pd.isna(row["northing"]):
        return "no coordinates on record"
    return ""


def _missing_text(window_days: float) -> str:
    """Return that nothing was measured in the window."""
    days = "day" if window_days == 1 else "days"
    return "no measurement on the date" if window_days == 0 else f"no measurement within {window_days:g} {days}"


def _day(value: Any) -> Any:
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)) or value == "":
        return None
    return pd.Timestamp(value).date()


def _one_well_a_place(control: pd.DataFrame) -> pd.DataFrame:
    """Give all but one well of each place the reason that another one stands for it."""
    control = control.copy()
    used = control[(control["reason"] == "") & (control["kind"] == "well")]
    middle = used["screen_middle_m"]
    for rows in _places(used):
        group = used.loc[rows]
        others = middle.drop(rows)
        # The middle of the others' screens: one map shows one depth of an aquifer.
        target = float(np.nanmedian(others)) if others.notna().any() else float("nan")
        # Without a screen on record a well comes last, not first.
        off = (group["screen_middle_m"] - target).abs().fillna(np.inf)
        ranked = group.assign(off=off, width=group["uncertainty_m"].fillna(np.inf)).sort_values(
            ["off", "width", "well"], kind="stable"
        )
        kept = ranked["well"].iloc[0]
        by = (
            "screen nearest in elevation to the other wells'" if np.isfinite(ranked["off"].iloc[0]) else "first by rule"
        )
        control.loc[ranked.index[1:], "reason"] = f"{ONE_WELL_A_PLACE}: {kept} stands for it ({by})"
    return control


def _places(used: pd.DataFrame) -> list[list[Any]]:
    """Return the groups of two and more wells that stand at one place."""
    from scipy.cluster.hierarchy import DisjointSet
    from scipy.spatial import KDTree

    if len(used) < 2:
        return []
    joined = DisjointSet(used.index.tolist())
    for rows in used[used["cluster"] != ""].groupby("cluster").groups.values():
        for other in rows[1:]:
            joined.merge(rows[0], other)
    tree = KDTree(used[["easting", "northing"]].to_numpy(dtype=np.float64))
    # By distance as well, since clusters are not always on record.
    for first, second in sorted(tree.query_pairs(ONE_PLACE_M)):
        joined.merge(used.index[first], used.index[second])
    return sorted(sorted(group) for group in joined.subsets() if len(group) > 1)


def _stage_rows(
    stages: pd.DataFrame | None,
    wells: pd.DataFrame,
    *,
    aquifer: str,
    date: dt.date,
    time_zone: str,
    window_days: float,
) -> pd.DataFrame:
    """Return the gauges in contact with the aquifer as rows of a control frame."""
    if stages is None or stages.empty:
        return pd.DataFrame()
    sites = wells["site"].unique()
    # A gauge is of the aquifer's site; where the aquifer has no wells, of any.
    ours = stages[(stages["aquifer"] == aquifer) & (stages["site"].isin(sites) | (len(sites) == 0))]
    if ours.empty:
        return pd.DataFrame()
    near = _in_window(ours, date, time_zone, window_days)
    nearest = near.sort_values(["site", "gauge", "from_noon", "measured_at_utc"], kind="stable")
    nearest = nearest.drop_duplicates(["site", "gauge"])
    # Gauges without a stage in the window are listed, as wells are.
    absent = ours[~ours["gauge"].isin(nearest["gauge"])].drop_duplicates(["site", "gauge"], keep="last")
    rows = pd.concat([nearest, absent.assign(water_elevation_m=np.nan, measured_at_utc=pd.NaT, time_known=False)])
    local = _local(rows["measured_at_utc"].astype("datetime64[us, UTC]"), time_zone)
    clock = local.dt.strftime("%Y-%m-%dT%H:%M").where(rows["time_known"].astype(bool), local.dt.strftime("%Y-%m-%d"))
    offset = rows["measured_at_utc"].astype("datetime64[us, UTC]").dt.tz_convert(zone_of(time_zone)).dt.strftime("%z")
    offset = offset.str[:3] + ":" + offset.str[3:]
    when = (clock + offset).where(rows["time_known"].astype(bool), clock).where(rows["measured_at_utc"].notna(), "")
    missing = rows["measured_at_utc"].isna()
    unplaced = rows["easting"].isna() | rows["northing"].isna()
    reason = np.where(missing, _missing_text(window_days), np.where(unplaced, "no coordinates on record", ""))
    return pd.DataFrame(
        {
            "site": rows["site"].to_numpy(),
            "well": rows["gauge"].to_numpy(),
            "kind": "stage",
            "easting": rows["easting"].to_numpy(dtype=np.float64),
            "northing": rows["northing"].to_numpy(dtype=np.float64),
            "measured_at": when.to_numpy(),
            "measured_at_utc": rows["measured_at_utc"].astype("datetime64[us, UTC]").array,
            "water_elevation_m": rows["water_elevation_m"].to_numpy(dtype=np.float64),
            "uncertainty_m": np.nan,
            "status": np.where(missing, "", "static"),
            "reason": reason,
            "time_known": rows["time_known"].to_numpy(dtype=bool),
            "cluster": "",
            "event_id": -1,
            "screen_middle_m": np.nan,
            "screen_length_m": np.nan,
            "ground_elevation_m": np.nan,
            "source": np.where(missing, "", "stage"),
            "bound": "",
        }
    )
