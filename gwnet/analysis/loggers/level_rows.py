"""Heads of loggers as rows of the levels frame, and which of them are bounds for the aquifer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.analysis.levels.screen_limits import screen_limits
from gwnet.analysis.levels.serving import unusable_reasons
from gwnet.analysis.loggers.daily import local_days
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.analysis.pumping.readings import TEST_STATUS, is_during_test
from gwnet.clock import local_text, to_instants
from gwnet.hydro.arrays import Instants
from gwnet.hydro.reduction.elevation import dry_bound_depth
from gwnet.hydro.reduction.intervals import in_force
from gwnet.store.fetch.frames import number_groups
from gwnet.store.snapshot import Snapshot

#: The method of a level that comes from a logger.
METHOD: Final = "logger"

_TIME: Final = "datetime64[us, UTC]"
_DAY: Final = "datetime64[us]"


def level_rows(record: Snapshot, levels: pd.DataFrame, deployments: Sequence[LoggerHeads]) -> pd.DataFrame:
    """Return heads and bounds of loggers as rows of the levels frame.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    levels : pandas.DataFrame
        Columns well, access, measured_at_utc, time_known, water_elevation_m (of a bound the bound), uncertainty_m,
        bound, round, instrument, notes, and doubt (why an open finding keeps the level out; empty for none).
    deployments : sequence of LoggerHeads
        Heads that they come from.

    Returns
    -------
    pandas.DataFrame
        Columns of the levels frame, with the rows of ``levels``.
    """
    site, zone = str(record.site), str(record.settings["time_zone"])
    wells, states = record.wells, record.reviews.set_index("event_id")["state"]
    when = _utc(levels)
    local = local_to_the_minute(levels, zone)
    timed = levels["time_known"].to_numpy(dtype=bool)
    aquifers = wells[wells["site"] == site].set_index("well")["aquifer"]
    approved = np.zeros(len(levels), dtype=bool)
    for heads in deployments:
        own = ((levels["well"] == heads.well) & (levels["access"] == heads.access)).to_numpy()
        approved[own] |= is_approved_at(heads, states, when[own])
    rows = pd.DataFrame(
        {
            "site": site,
            "well": levels["well"],
            # A mean of a day has no time of day.
            "measured_at": np.where(timed, local, [text[:10] for text in local]),
            "round": levels["round"],
            "water_elevation_m": levels["water_elevation_m"].to_numpy(dtype=np.float64),
            "uncertainty_m": levels["uncertainty_m"].to_numpy(dtype=np.float64),
            "bound": levels["bound"],
            "review": np.where(approved, "approved", "provisional"),
            "accuracy_from": "",
            "day": local_days(when, zone).astype(_DAY),
            "access": levels["access"],
            # What anchors a head to its level is more than one survey, so none is shared.
            "measuring_point": "",
            "survey_uncertainty_m": np.nan,
            "aquifer": levels["well"].map(aquifers),
            "measured_at_utc": levels["measured_at_utc"].astype(_TIME),
            "time_known": timed,
            "product_thickness_m": np.nan,
            "sounded_depth_m": np.nan,
            "method": METHOD,
            "instrument": levels["instrument"],
            "observer": "",
            "notes": levels["notes"],
            "doubt": levels.get("doubt", ""),
        }
    )
    return with_bounds(record, rows)


def with_bounds(record: Snapshot, rows: pd.DataFrame) -> pd.DataFrame:
    """Return levels of loggers with what they are for the aquifer: numbers, or bounds as of a dry well.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    rows : pandas.DataFrame
        Columns well, access, measured_at_utc, water_elevation_m, bound (``<=`` where the sensor was out of water), and
        doubt (optional; why an open finding keeps the level out).

    Returns
    -------
    pandas.DataFrame
        With status, finding, bound, bound_elevation_m, depths, usable and unusable_reason. A level of a well of a
        pumping test while the test was under way has the status of the test. A bound is the shallower of
        sensor and screen bottom, as that of a dry well is of sounding and screen; a head below the screen of a closed
        pipe is a bound as well and keeps its number.
    """
    when = _utc(rows)
    elevation, height = _points_in_force(record.measuring_points, rows, when)
    head = rows["water_elevation_m"].to_numpy(dtype=np.float64)
    out = (rows["bound"] == "<=").to_numpy(dtype=bool)
    wells = record.wells[record.wells["site"] == record.site]
    bottom, limit = (
        rows["well"].map(depth.set_axis(wells["well"]).astype(np.float64)).to_numpy(dtype=np.float64)
        for depth in (wells["screen_bottom_m"], screen_limits(wells, record.construction))
    )
    ground = elevation - height
    # The sensor plays the part of the sounded depth: neither screen nor sensor sees below itself.
    lowest = ground - dry_bound_depth(bottom, ground - head, np.nan)
    doubt = rows["doubt"].to_numpy(dtype=object) if "doubt" in rows else np.full(len(rows), "", dtype=object)
    # Water was measured, but in the closed pipe below the screen.
    below = ~out & (ground - head > limit)
    head = np.where(out & ~np.isnan(lowest), lowest, head)
    is_bound = out | below
    levels = rows.assign(
        status=np.where(is_during_test(record, rows), TEST_STATUS, "static").astype(object),
        bound=np.where(is_bound, "<=", ""),
        depth_to_water_m=np.where(out, np.nan, elevation - head),
        depth_below_ground_m=np.where(out, np.nan, ground - head),
        measuring_point_elevation_m=elevation,
        water_elevation_m=head,
        quality="unchecked",
        finding=np.select([doubt != "", out, below], [doubt, SENSOR_OUT, BELOW_SCREEN], "").astype(object),
        bound_elevation_m=np.select([out, below], [head, ground - bottom], np.nan),
        # no event: decisions and reviews are not of a row of a logger
        event_id=np.full(len(rows), -1, dtype=np.int64),
        water_elevation_uncorrected_m=head,
        open_finding="",
    )
    if "review" not in levels:
        levels["review"] = "provisional"
    reasons = unusable_reasons(levels)
    return levels.assign(usable=reasons == "", unusable_reason=reasons)


def local_to_the_minute(levels: pd.DataFrame, zone: str) -> NDArray[np.object_]:
    """Return when levels were measured as local time with offset, to the minute.

    Parameters
    ----------
    levels : pandas.DataFrame
        With measured_at_utc.
    zone : str
        Time zone.
    """
    return local_text(_utc(levels).astype("datetime64[m]"), zone)


def _utc(levels: pd.DataFrame) -> Instants:
    """Return when levels were measured as instants in UTC."""
    return to_instants(levels["measured_at_utc"].astype(_TIME))


def is_approved_at(heads: LoggerHeads, states: pd.Series, when: Instants) -> NDArray[np.bool_]:
    """Return which moments lie between two approved manual readings of one installation of a logger.

    Parameters
    ----------
    heads : LoggerHeads
        Heads of one deployment.
    states : pandas.Series
        Review state by event.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments in UTC.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether both neighbours among the manual readings in use are approved; never before the first or after the last.
    """
    used = heads.manual[heads.manual["used"].astype(bool)]
    if len(used) < 2:
        return np.zeros(when.shape, dtype=bool)
    read = to_instants(used["measured_at_utc"])
    approved = (used["event_id"].map(states) == "approved").to_numpy(dtype=bool)
    installation = used["installation"].to_numpy()
    # On both sides the nearest readings, which may be the same one at the very moment.
    before = np.searchsorted(read, when, side="right") - 1
    after = np.searchsorted(read, when, side="left")
    inside = (before >= 0) & (after < read.size)
    low, high = before.clip(0), after.clip(0, read.size - 1)
    return np.asarray(inside & approved[low] & approved[high] & (installation[low] == installation[high]))


def _points_in_force(
    points: pd.DataFrame, levels: pd.DataFrame, when: Instants
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return elevation and height above ground of the measuring point in force; NaN for none or two [m]."""
    of_point, of_level = number_groups(points, levels, ("well", "access"))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    held = in_force(of_point, starts, ends, of_level, when).index
    elevation, height = (
        np.append(points[name].to_numpy(dtype=np.float64), np.nan)[held]
        for name in ("elevation_m", "height_above_ground_m")
    )
    return elevation, height
