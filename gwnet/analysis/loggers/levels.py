"""Levels of loggers beside those read by hand: at the moment of each round, by the day, and at one moment for a map.

The moment of a round or same-day set is the median time of its readings, so that a late one does not move it; without
timed readings it is noon, of a round that of its middle day. A head counts as approved between two approved manual
readings of one installation: nobody reviews samples one by one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection

from gwnet.analysis.loggers.channels import gather_loggers
from gwnet.analysis.loggers.daily import daily, local_days
from gwnet.analysis.loggers.heads import LoggerHeads, at_moments, each_head, heads
from gwnet.clock import offset_minutes, to_utc
from gwnet.errors import SettingsError
from gwnet.hydro.arrays import Instants
from gwnet.hydro.reduction.intervals import in_force
from gwnet.records import Selection
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


def with_loggers(record: Snapshot, table: pd.DataFrame, selection: Selection, how: str) -> pd.DataFrame:
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
        instrument, and a note that says what they are; a daily mean bears the date alone. They are approved where they
        stand between two approved manual readings of one hanging, else provisional.

    Raises
    ------
    SettingsError
        If it is asked for in another way.

    Notes
    -----
    The moment of a round is the median time of its timed levels, late ones beyond its last day left out; noon of its
    middle day, of two the earlier, where no level of it has a time of day. A logger without a head then gives the one
    nearest to it within the round's days. The note says which. Without rounds there are no rows at rounds. A logger
    tells no status: whether a pump ran, only the crew can say.
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
        found = heads(record.connection, members, str(settings["site"]), known_on=record.known_on) if members else []
        if found:
            rounds = _round_moments(here, selection.round)
            made = _daily(found, settings, rounds, selection.round) if how == "daily" else _at_rounds(found, rounds)
            rows = _level_rows(here, made, found, wells, states)
            frames.append(rows[list(table.columns)].astype(table.dtypes.to_dict()))
    if len(frames) == 1:
        return table
    joined = pd.concat([frame for frame in frames if len(frame)] or frames, ignore_index=True)
    order = ["site", "well", "measured_at_utc", "access", "event_id"]
    return joined.sort_values(order, kind="stable", ignore_index=True)


def approved_at(one: LoggerHeads, states: pd.Series, when: Instants) -> NDArray[np.bool_]:
    """Return which moments stand between two approved manual readings of one hanging of a logger.

    Parameters
    ----------
    one : LoggerHeads
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
    used = one.hand[one.hand["used"].astype(bool)]
    if len(used) < 2:
        return np.zeros(when.shape, dtype=bool)
    read = _naive(used["measured_at_utc"])
    approved = (used["event_id"].map(states) == "approved").to_numpy(dtype=bool)
    hanging = used["hanging"].to_numpy()
    before = np.searchsorted(read, when, side="right") - 1
    after = np.searchsorted(read, when, side="left")
    inside = (before >= 0) & (after < read.size)
    low, high = before.clip(0), after.clip(0, read.size - 1)
    result: NDArray[np.bool_] = inside & approved[low] & approved[high] & (hanging[low] == hanging[high])
    return result


def levels_for_map(
    connection: Connection,
    site: pd.Series,
    wells: Collection[str],
    moment: pd.Timestamp,
    *,
    first: pd.Timestamp,
    last: pd.Timestamp,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return the level of each logger at one moment, or the nearest one within a window.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site : pandas.Series
        Row of the sites frame.
    wells : collection of str
        Wells that are asked for.
    moment : pandas.Timestamp
        The moment in UTC.
    first, last : pandas.Timestamp
        Window in UTC, half-open.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        One row a well: site, well, measured_at (local time with offset), measured_at_utc, water_elevation_m,
        uncertainty_m, instrument. Of several loggers in a well the one with the smallest uncertainty, then by name.
    """
    instant = _instant(moment)
    exact, near = [], []
    record = gather_loggers(connection, wells=sorted(wells), site=str(site["site"]), known_on=known_on)
    for one in each_head(record):
        here = at_moments([one], [instant])
        if len(here):
            exact.append(here)
        else:
            near.append(_nearest(one, instant, _instant(first), _instant(last)))
    made = pd.concat(exact, ignore_index=True) if exact else at_moments([], [instant])
    made = made.sort_values("deployment_id", kind="stable").rename(columns={"moment_utc": "measured_at_utc"})
    rows = pd.DataFrame([row for row in near if row is not None])
    if len(rows):
        rows = rows[~rows["well"].isin(made["well"])]
        made = pd.concat([made, rows], ignore_index=True) if len(made) else rows
    made = made[made["access"] == "main"] if len(made) else made
    made = made.sort_values(["well", "uncertainty_m", "instrument"], kind="stable").drop_duplicates("well")
    when = _naive(made["measured_at_utc"])
    made = made.assign(measured_at=_local_text(when, str(site["time_zone"])))
    columns = ["site", "well", "measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m", "instrument"]
    return made[columns].astype({"measured_at_utc": _TIME}).reset_index(drop=True)


def _nearest(
    one: LoggerHeads, moment: np.datetime64, first: np.datetime64, last: np.datetime64
) -> dict[str, object] | None:
    """Return the head nearest to a moment within a window."""
    low, high = np.searchsorted(one.time_utc, [first, last])
    here = low + np.flatnonzero(~np.isnan(one.water_elevation_m[low:high]))
    if not here.size:
        return None
    place = here[int(np.argmin(np.abs((one.time_utc[here] - moment).astype(np.int64))))]
    return {
        "site": one.site,
        "well": one.well,
        "access": one.access,
        "instrument": one.instrument,
        "deployment_id": one.deployment_id,
        "measured_at_utc": pd.Timestamp(one.time_utc[place], tz="UTC"),
        "water_elevation_m": float(one.water_elevation_m[place]),
        "uncertainty_m": float(one.uncertainty_m[place]),
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
    made = pd.DataFrame({"round": rounds["round"].to_numpy(dtype=object), "first_day": first, "last_day": last})
    for name, local in (("first_utc", first), ("end_utc", last + 1), ("moment", noon)):
        made[name] = to_utc(local.astype("datetime64[us]"), zone).utc
    events = record.level_records(Selection(round=round_code))
    timed = events[events["time_known"].astype(bool)]
    day = local_days(_naive(timed["measured_at_utc"]), zone)
    medians = []
    for code, since, to in zip(made["round"], first, last, strict=True):
        own = (timed["round"] == code).to_numpy(dtype=bool)
        inside = own & (day >= since) & (day <= to)
        when = timed.loc[inside if inside.any() else own, "measured_at_utc"]
        medians.append(pd.NaT if when.empty else pd.Timestamp(when.median()).floor("s"))
    median = pd.Series(medians, dtype=_TIME)
    made["is_median"] = median.notna()
    made["moment"] = median.fillna(made["moment"].astype("datetime64[us]").dt.tz_localize("UTC"))
    return made


def _at_rounds(found: Sequence[LoggerHeads], rounds: pd.DataFrame) -> pd.DataFrame:
    """Return the heads at the moments of rounds, or those nearest to them within the round's days."""
    moments = _naive(rounds["moment"])
    # two rounds may have one moment, so each moment is asked for once and its rounds are joined to it
    exact = at_moments(found, np.unique(moments)).rename(columns={"moment_utc": "measured_at_utc"})
    named = rounds[["round", "is_median"]].assign(measured_at_utc=rounds["moment"])
    exact = exact.merge(named, on="measured_at_utc", how="inner")
    what = np.where(exact["is_median"].to_numpy(dtype=bool), _AT_MEDIAN, _AT_NOON)
    exact["notes"] = [f"logger {code}, {words}" for code, words in zip(exact["instrument"], what, strict=True)]
    told = set(zip(exact["deployment_id"], exact["round"], strict=True))
    near: list[dict[str, object]] = []
    for row, moment in zip(rounds.itertuples(), moments, strict=True):
        for one in found:
            if (one.deployment_id, row.round) not in told:
                head = _nearest(one, moment, np.datetime64(row.first_utc, "us"), np.datetime64(row.end_utc, "us"))
                if head is not None:
                    near.append(head | {"round": row.round, "notes": f"logger {one.instrument}, nearest to the round"})
    parts = [part for part in (exact, pd.DataFrame(near)) if len(part)]
    made = (pd.concat(parts, ignore_index=True) if parts else exact).assign(time_known=True)
    made = made.sort_values("uncertainty_m", kind="stable")
    return made.drop_duplicates(["well", "access", "round"]).reset_index(drop=True)


def _daily(
    found: Sequence[LoggerHeads], settings: pd.Series, rounds: pd.DataFrame, round_code: str | None
) -> pd.DataFrame:
    """Return daily means; of a round's days alone where one is asked for."""
    zone = str(settings["time_zone"])
    made = daily(found, zone)
    if round_code is not None:
        day = made["day"].to_numpy(dtype="datetime64[D]")[:, np.newaxis]
        spans = [rounds[name].to_numpy(dtype="datetime64[D]") for name in ("first_day", "last_day")]
        made = made[((day >= spans[0]) & (day <= spans[1])).any(axis=1)]
    noon = np.array([np.datetime64(f"{day}T12:00", "us") for day in made["day"]], dtype="datetime64[us]")
    utc = to_utc(noon, zone).utc if noon.size else noon
    made = made.assign(measured_at_utc=pd.DatetimeIndex(utc).tz_localize("UTC"), time_known=False, round="")
    hung = {(one.well, one.access): one.instrument for one in found}
    codes = [hung[key] for key in zip(made["well"], made["access"], strict=True)]
    notes = [f"logger, mean of {count} samples of the day" for count in made["samples"]]
    return made.assign(instrument=codes, notes=notes).reset_index(drop=True)


def _level_rows(
    record: Snapshot, made: pd.DataFrame, found: Sequence[LoggerHeads], wells: pd.DataFrame, states: pd.Series
) -> pd.DataFrame:
    """Return heads as rows of the levels frame."""
    site, zone = str(record.site), str(record.settings["time_zone"])
    when = _naive(made["measured_at_utc"])
    elevation, height = _points_in_force(record.measuring_points, made, when)
    head = made["water_elevation_m"].to_numpy(dtype=np.float64)
    local = _local_text(when, zone)
    timed = made["time_known"].to_numpy(dtype=bool)
    aquifers = wells[wells["site"] == site].set_index("well")["aquifer"]
    approved = np.zeros(len(made), dtype=bool)
    for one in found:
        own = ((made["well"] == one.well) & (made["access"] == one.access)).to_numpy()
        approved[own] |= approved_at(one, states, when[own])
    return pd.DataFrame(
        {
            "site": site,
            "well": made["well"],
            "measured_at": np.where(timed, local, [text[:10] for text in local]),
            "round": made["round"],
            "status": "static",
            "bound": "",
            "depth_to_water_m": elevation - head,
            "depth_below_ground_m": elevation - head - height,
            "measuring_point_elevation_m": elevation,
            "water_elevation_m": head,
            "uncertainty_m": made["uncertainty_m"].to_numpy(dtype=np.float64),
            "quality": "unchecked",
            "review": np.where(approved, "approved", "provisional"),
            "finding": "",
            "day": (when + offset_minutes(when, zone).astype("timedelta64[m]")).astype("datetime64[D]").astype(_DAY),
            "event_id": np.full(len(made), -1, dtype=np.int64),
            "access": made["access"],
            "aquifer": made["well"].map(aquifers),
            "measured_at_utc": made["measured_at_utc"].astype(_TIME),
            "time_known": timed,
            "usable": True,
            "unusable_reason": "",
            "water_elevation_uncorrected_m": head,
            "product_thickness_m": np.nan,
            "sounded_depth_m": np.nan,
            "method": METHOD,
            "instrument": made["instrument"],
            "observer": "",
            "notes": made["notes"],
        }
    )


def _points_in_force(
    points: pd.DataFrame, made: pd.DataFrame, when: Instants
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return elevation and height above ground of the measuring point in force; NaN for none or two [m]."""
    keys = pd.concat([points[["well", "access"]], made[["well", "access"]]], ignore_index=True)
    codes = keys.groupby(["well", "access"], sort=True).ngroup().to_numpy()
    starts, ends = (_naive(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    held = in_force(codes[: len(points)], starts, ends, codes[len(points) :], when).index
    found = []
    for name in ("elevation_m", "height_above_ground_m"):
        values = np.append(points[name].to_numpy(dtype=np.float64), np.nan)
        found.append(values[held])
    return found[0], found[1]


def _naive(times: pd.Series) -> Instants:
    """Return aware times as instants in UTC."""
    utc = pd.DatetimeIndex(times.astype(_TIME)).tz_convert("UTC").tz_localize(None)
    return np.asarray(utc.as_unit("us").to_numpy(), dtype="datetime64[us]")


def _instant(moment: pd.Timestamp) -> np.datetime64:
    return np.datetime64(moment.tz_convert("UTC").tz_localize(None).to_datetime64(), "us")


def _local_text(when: Instants, zone: str) -> NDArray[np.object_]:
    """Return instants as local time with offset, to the minute."""
    minutes = offset_minutes(when, zone)
    local = np.datetime_as_string(when + minutes.astype("timedelta64[m]"), unit="m").astype(object)
    signs = [f"{'-' if m < 0 else '+'}{abs(m) // 60:02d}:{abs(m) % 60:02d}" for m in minutes.tolist()]
    return np.asarray(local + np.array(signs, dtype=object), dtype=object)
