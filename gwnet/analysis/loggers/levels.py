"""Levels of loggers beside manual readings: at the moment of each round, by the day, and at one moment for a map.

The moment of a round or same-day set is the median time of its readings, so that a late one does not move it; without
timed readings it is noon, of a round that of its middle day. A head counts as approved between two approved manual
readings of one installation: nobody reviews samples one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import events_of
from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.daily import daily_values, local_days
from gwnet.analysis.loggers.heads import LoggerHeads, interpolate_heads, iterate_heads, work_out_heads
from gwnet.clock import local_text, to_instant, to_instants, to_utc
from gwnet.errors import SettingsError
from gwnet.hydro.arrays import Instants
from gwnet.hydro.reduction.intervals import in_force
from gwnet.records import Selection
from gwnet.store.fetch.frames import number_groups
from gwnet.store.snapshot import Snapshot

#: What can be asked for: nothing, the heads at the moment of each round, or the mean of each day.
CHOICES: Final = ("none", "round", "daily")

#: The method of a level that comes from a logger.
METHOD: Final = "logger"

#: What the moment of a round is, for the note of a row.
_AT_MEDIAN: Final = "at the median time of the round"
_AT_NOON: Final = "at noon of the round's middle day, as no level of the round has a time"

_TIME: Final = "datetime64[us, UTC]"
_DAY: Final = "datetime64[us]"


def add_loggers(record: Snapshot, table: pd.DataFrame, selection: Selection, how: str) -> pd.DataFrame:
    """Return levels with those of loggers among them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    table : pandas.DataFrame
        Levels frame of the same selection.
    selection : gwnet.records.Selection
        Which levels are wanted; times are not looked at.
    how : {"none", "round", "daily"}
        Heads at the moment of each round, or daily means.

    Returns
    -------
    pandas.DataFrame
        The levels frame, longer. Rows of loggers have ``method`` "logger", ``event_id`` -1, ``status`` static, the
        instrument, and a note that says what they are; a daily mean has the date alone. They are approved where they
        lie between two approved manual readings of one installation, else provisional.

    Raises
    ------
    SettingsError
        If it is asked for in another way.

    Notes
    -----
    The moment of a round is the median time of its timed levels, late ones beyond its last day left out; noon of its
    middle day, of two the earlier, where no level of it has a time of day. Of a logger without a head then it is the
    one nearest to it within the round's days. The note says which. Without rounds there are no rows at rounds. A logger
    has no status: whether a pump ran, only the crew can say.
    """
    if how not in CHOICES:
        message = f"Levels of loggers can be had as {', '.join(CHOICES)}, not as {how!r}."
        raise SettingsError(message)
    if how == "none":
        return table
    wells = record.wells
    if selection.aquifer is not None:
        wells = wells[wells["aquifer"] == selection.aquifer]
    if selection.wells is not None:
        wells = wells[wells["well"].isin(selection.wells)]
    states = record.reviews.set_index("event_id")["state"]
    frames = [table]
    for _, settings in record.sites.iterrows():
        here = record.of_site(str(settings["site"]))
        members = wells.loc[wells["site"] == settings["site"], "well"].tolist()
        deployments = work_out_heads(here, members)
        if deployments:
            rounds = _round_moments(here, selection.round)
            if how == "daily":
                levels = _daily(deployments, settings, rounds, selection.round)
            else:
                levels = _at_rounds(deployments, rounds)
            rows = _level_rows(here, levels, deployments, wells, states)
            frames.append(rows[list(table.columns)].astype(table.dtypes.to_dict()))
    if len(frames) == 1:
        return table
    joined = pd.concat([frame for frame in frames if len(frame)] or frames, ignore_index=True)
    order = ["site", "well", "measured_at_utc", "access", "event_id"]
    return joined.sort_values(order, kind="stable", ignore_index=True)


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
    before = np.searchsorted(read, when, side="right") - 1
    after = np.searchsorted(read, when, side="left")
    inside = (before >= 0) & (after < read.size)
    low, high = before.clip(0), after.clip(0, read.size - 1)
    return np.asarray(inside & approved[low] & approved[high] & (installation[low] == installation[high]))


@dataclass(frozen=True)
class LevelRequest:
    """Levels that are asked for at one moment.

    Attributes
    ----------
    wells : tuple of str
        Wells.
    moment, first, last : pandas.Timestamp
        The moment, and the half-open window in which the nearest level is taken where there is none at the moment; UTC.
    """

    wells: tuple[str, ...]
    moment: pd.Timestamp
    first: pd.Timestamp
    last: pd.Timestamp


def levels_for_sets(record: Snapshot, requests: Sequence[LevelRequest]) -> list[pd.DataFrame]:
    """Return the levels of loggers at moments, or the nearest ones within a window; one pass over the loggers.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    requests : sequence of LevelRequest
        Wells and moments.

    Returns
    -------
    list of pandas.DataFrame
        For each request one row a well: site, well, measured_at (local time with offset), measured_at_utc,
        water_elevation_m, uncertainty_m, instrument. Of several loggers at the access ``main`` one with a level at the
        moment, then the one with the smallest uncertainty, then by name.
    """
    best: list[dict[str, tuple[Any, dict[str, Any]]]] = [{} for _ in requests]
    wells = sorted({well for request in requests for well in request.wells} & set(record.deployments["well"]))
    moments = [to_instant(request.moment) for request in requests]
    for heads in iterate_heads(record, deployments_in(record, wells)) if wells else ():
        exact = interpolate_heads([heads], moments).drop_duplicates("moment_utc").set_index("moment_utc", drop=False)
        for request, moment, chosen in zip(requests, moments, best, strict=True):
            if heads.well not in request.wells or heads.access != "main":
                continue
            is_exact = request.moment in exact.index
            row = (
                exact.loc[request.moment].rename({"moment_utc": "measured_at_utc"}).to_dict()
                if is_exact
                else _nearest(heads, moment, to_instant(request.first), to_instant(request.last))
            )
            if row is None:
                continue
            width = float(row["uncertainty_m"])
            rank = (not is_exact, np.isnan(width), width, heads.instrument, heads.deployment_id)
            if heads.well not in chosen or rank < chosen[heads.well][0]:
                chosen[heads.well] = rank, row
    return [_set_rows(chosen, str(record.settings["time_zone"])) for chosen in best]


def _set_rows(chosen: dict[str, tuple[Any, dict[str, Any]]], zone: str) -> pd.DataFrame:
    columns = ["site", "well", "measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m", "instrument"]
    rows = pd.DataFrame([row for _, (_, row) in sorted(chosen.items())], columns=columns)
    rows = rows.astype({"measured_at_utc": _TIME})
    return rows.assign(measured_at=_to_the_minute(rows, zone))


def _to_the_minute(levels: pd.DataFrame, zone: str) -> NDArray[np.object_]:
    """Return when levels were measured as local time with offset, to the minute."""
    return local_text(_utc(levels).astype("datetime64[m]"), zone)


def _utc(levels: pd.DataFrame) -> Instants:
    """Return when levels were measured as instants in UTC."""
    return to_instants(levels["measured_at_utc"].astype(_TIME))


def _nearest(
    heads: LoggerHeads, moment: np.datetime64, first: np.datetime64, last: np.datetime64
) -> dict[str, Any] | None:
    """Return the head nearest to a moment within a window."""
    low, high = np.searchsorted(heads.time_utc, [first, last])
    here = low + np.flatnonzero(~np.isnan(heads.water_elevation_m[low:high]))
    if not here.size:
        return None
    place = here[int(np.argmin(np.abs((heads.time_utc[here] - moment).astype(np.int64))))]
    return {
        "site": heads.site,
        "well": heads.well,
        "access": heads.access,
        "instrument": heads.instrument,
        "deployment_id": heads.deployment_id,
        "measured_at_utc": pd.Timestamp(heads.time_utc[place], tz="UTC"),
        "water_elevation_m": float(heads.water_elevation_m[place]),
        "uncertainty_m": float(heads.uncertainty_m[place]),
    }


def _round_moments(record: Snapshot, round_code: str | None) -> pd.DataFrame:
    """Return rounds with their days, their moments, and whether a moment is the median time of timed levels."""
    zone = str(record.settings["time_zone"])
    rounds = record.rounds
    if round_code is not None:
        rounds = rounds[rounds["round"] == round_code]
    first = rounds["starts_on"].to_numpy(dtype="datetime64[D]")
    last = np.array([row.ends_on or row.starts_on for row in rounds.itertuples()], dtype="datetime64[D]")
    noon = (first + (last - first) // 2).astype("datetime64[us]") + np.timedelta64(12, "h")
    moments = pd.DataFrame({"round": rounds["round"].to_numpy(dtype=object), "first_day": first, "last_day": last})
    for name, local in (("first_utc", first), ("end_utc", last + 1), ("moment", noon)):
        moments[name] = to_utc(local.astype("datetime64[us]"), zone).utc
    events = events_of(record, Selection(round=round_code))
    timed = events[events["time_known"].astype(bool)]
    day = local_days(to_instants(timed["measured_at_utc"]), zone)
    medians = []
    for code, since, to in zip(moments["round"], first, last, strict=True):
        own = (timed["round"] == code).to_numpy(dtype=bool)
        inside = own & (day >= since) & (day <= to)
        when = timed.loc[inside if inside.any() else own, "measured_at_utc"]
        medians.append(pd.NaT if when.empty else pd.Timestamp(when.median()).floor("s"))
    median = pd.Series(medians, dtype=_TIME)
    moments["is_median"] = median.notna()
    moments["moment"] = median.fillna(moments["moment"].astype("datetime64[us]").dt.tz_localize("UTC"))
    return moments


def _at_rounds(deployments: Sequence[LoggerHeads], rounds: pd.DataFrame) -> pd.DataFrame:
    """Return the heads at the moments of rounds, or those nearest to them within the round's days."""
    moments = to_instants(rounds["moment"])
    # two rounds may have one moment, so each moment is asked for once and its rounds are joined to it
    exact = interpolate_heads(deployments, np.unique(moments)).rename(columns={"moment_utc": "measured_at_utc"})
    named = rounds[["round", "is_median"]].assign(measured_at_utc=rounds["moment"])
    exact = exact.merge(named, on="measured_at_utc", how="inner")
    what = np.where(exact["is_median"].to_numpy(dtype=bool), _AT_MEDIAN, _AT_NOON)
    exact["notes"] = [f"logger {code}, {words}" for code, words in zip(exact["instrument"], what, strict=True)]
    known = set(zip(exact["deployment_id"], exact["round"], strict=True))
    near: list[dict[str, object]] = []
    for row, moment in zip(rounds.itertuples(), moments, strict=True):
        for heads in deployments:
            if (heads.deployment_id, row.round) not in known:
                head = _nearest(heads, moment, np.datetime64(row.first_utc, "us"), np.datetime64(row.end_utc, "us"))
                if head is not None:
                    note = f"logger {heads.instrument}, nearest to the round"
                    near.append(head | {"round": row.round, "notes": note})
    parts = [part for part in (exact, pd.DataFrame(near)) if len(part)]
    levels = (pd.concat(parts, ignore_index=True) if parts else exact).assign(time_known=True)
    levels = levels.sort_values("uncertainty_m", kind="stable")
    return levels.drop_duplicates(["well", "access", "round"]).reset_index(drop=True)


def _daily(
    deployments: Sequence[LoggerHeads], settings: pd.Series, rounds: pd.DataFrame, round_code: str | None
) -> pd.DataFrame:
    """Return daily means; of a round's days alone where one is asked for."""
    zone = str(settings["time_zone"])
    means = daily_values(deployments, zone)
    if round_code is not None:
        day = means["day"].to_numpy(dtype="datetime64[D]")[:, np.newaxis]
        first, last = (rounds[name].to_numpy(dtype="datetime64[D]") for name in ("first_day", "last_day"))
        means = means[((day >= first) & (day <= last)).any(axis=1)]
    noon = means["day"].to_numpy(dtype="datetime64[us]") + np.timedelta64(12, "h")
    utc = pd.DatetimeIndex(to_utc(noon, zone).utc).tz_localize("UTC")
    of_well = {(heads.well, heads.access): heads.instrument for heads in deployments}
    codes = [of_well[key] for key in zip(means["well"], means["access"], strict=True)]
    notes = [f"logger, mean of {count} samples of the day" for count in means["samples"]]
    means = means.assign(measured_at_utc=utc, time_known=False, round="", instrument=codes, notes=notes)
    return means.reset_index(drop=True)


def _level_rows(
    record: Snapshot, levels: pd.DataFrame, deployments: Sequence[LoggerHeads], wells: pd.DataFrame, states: pd.Series
) -> pd.DataFrame:
    """Return heads as rows of the levels frame."""
    site, zone = str(record.site), str(record.settings["time_zone"])
    when = _utc(levels)
    elevation, height = _points_in_force(record.measuring_points, levels, when)
    head = levels["water_elevation_m"].to_numpy(dtype=np.float64)
    local = _to_the_minute(levels, zone)
    timed = levels["time_known"].to_numpy(dtype=bool)
    aquifers = wells[wells["site"] == site].set_index("well")["aquifer"]
    approved = np.zeros(len(levels), dtype=bool)
    for heads in deployments:
        own = ((levels["well"] == heads.well) & (levels["access"] == heads.access)).to_numpy()
        approved[own] |= is_approved_at(heads, states, when[own])
    return pd.DataFrame(
        {
            "site": site,
            "well": levels["well"],
            "measured_at": np.where(timed, local, [text[:10] for text in local]),
            "round": levels["round"],
            "status": "static",
            "bound": "",
            "depth_to_water_m": elevation - head,
            "depth_below_ground_m": elevation - head - height,
            "measuring_point_elevation_m": elevation,
            "water_elevation_m": head,
            "uncertainty_m": levels["uncertainty_m"].to_numpy(dtype=np.float64),
            "quality": "unchecked",
            "review": np.where(approved, "approved", "provisional"),
            "finding": "",
            "bound_elevation_m": np.nan,
            "accuracy_from": "",
            "day": local_days(when, zone).astype(_DAY),
            "event_id": np.full(len(levels), -1, dtype=np.int64),
            "access": levels["access"],
            "aquifer": levels["well"].map(aquifers),
            "measured_at_utc": levels["measured_at_utc"].astype(_TIME),
            "time_known": timed,
            "usable": True,
            "unusable_reason": "",
            "water_elevation_uncorrected_m": head,
            "product_thickness_m": np.nan,
            "sounded_depth_m": np.nan,
            "method": METHOD,
            "instrument": levels["instrument"],
            "observer": "",
            "notes": levels["notes"],
        }
    )


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
