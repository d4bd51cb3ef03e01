"""Levels of loggers beside manual readings: at the moment of each round, by the day, and at one moment for a map.

The moment of a round or same-day set is the median time of its readings, so that a late one does not move it; without
timed readings it is noon, of a round that of its middle day. A head counts as approved between two approved manual
readings of one installation: nobody reviews samples one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.inputs import events_of
from gwnet.analysis.levels.rounds import days_of_round
from gwnet.analysis.loggers.channels import deployments_in
from gwnet.analysis.loggers.daily import daily_values, local_days
from gwnet.analysis.loggers.heads import LoggerHeads, interpolate_heads, iterate_heads
from gwnet.analysis.loggers.level_rows import level_rows, local_to_the_minute, with_bounds
from gwnet.clock import to_instant, to_instants, to_utc
from gwnet.errors import SettingsError
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: What can be asked for: nothing, the heads at the moment of each round, or the mean of each day.
CHOICES: Final = ("none", "round", "daily")

#: What the moment of a round is, for the note of a row.
_AT_MEDIAN: Final = "at the median time of the round"
_AT_NOON: Final = "at noon of the round's middle day, as no level of the round has a time"

_TIME: Final = "datetime64[us, UTC]"


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
        instrument, and a note that says what they are; a daily mean has the date alone. Where the sensor was out of
        water they are bounds, as of a dry well, with the finding that says so. Where an open finding keeps all samples
        out, its rule is the finding and the level is not usable. They are approved where they lie between two approved
        manual readings of one installation, else provisional.

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
    frames = [table]
    for site in record.sites["site"]:
        here = record.of_site(str(site))
        rounds = here.rounds
        if selection.round is not None:
            rounds = rounds[rounds["round"] == selection.round]
        members = wells.loc[wells["site"] == site, "well"].tolist()
        # Days of all the record are wanted where no round was asked for.
        within = rounds if selection.round is not None else None
        rows = logger_levels(here, members, rounds) if how == "round" else logger_days(here, members, within)
        if len(rows):
            frames.append(rows[list(table.columns)].astype(table.dtypes.to_dict()))
    if len(frames) == 1:
        return table
    # Empty frames have no types of their own; where all are empty one keeps the columns.
    joined = pd.concat([frame for frame in frames if len(frame)] or frames, ignore_index=True)
    order = ["site", "well", "measured_at_utc", "access", "event_id"]
    return joined.sort_values(order, kind="stable", ignore_index=True)


def logger_levels(record: Snapshot, wells: Sequence[str], rounds: pd.DataFrame) -> pd.DataFrame:
    """Return the levels of loggers at the moments of rounds.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str
        Wells.
    rounds : pandas.DataFrame
        Rounds, as `gwnet.store.fetch.programme.rounds`.

    Returns
    -------
    pandas.DataFrame
        Rows of the levels frame, at most one a well, access and round; see `add_loggers`.
    """
    if rounds.empty:
        return pd.DataFrame()
    moments = _round_moments(record, rounds)
    return _rows_by_well(record, wells, lambda deployments: _at_rounds(deployments, moments))


def logger_days(record: Snapshot, wells: Sequence[str], rounds: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the daily levels of loggers.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str
        Wells.
    rounds : pandas.DataFrame, optional
        Only the days of these rounds.

    Returns
    -------
    pandas.DataFrame
        Rows of the levels frame, one a well, access and day; see `add_loggers`.
    """
    zone = str(record.settings["time_zone"])
    return _rows_by_well(record, wells, lambda deployments: _daily(deployments, zone, rounds))


def _rows_by_well(
    record: Snapshot, wells: Sequence[str], make: Callable[[Sequence[LoggerHeads]], pd.DataFrame]
) -> pd.DataFrame:
    """Return levels made of the deployments of each well; the samples of one well are held at a time."""
    heads = iterate_heads(record, deployments_in(record, list(wells)))
    rows = []
    # The order of deployments is by well, which groupby needs.
    for _, members in groupby(heads, key=lambda one: one.well):
        deployments = list(members)
        levels = _with_doubtful(make, deployments)
        if len(levels):
            rows.append(level_rows(record, levels, deployments))
    return pd.concat(rows, ignore_index=True) if rows else pd.DataFrame()


def _with_doubtful(
    make: Callable[[Sequence[LoggerHeads]], pd.DataFrame], deployments: Sequence[LoggerHeads]
) -> pd.DataFrame:
    """Return levels, and those that open findings keep out where there are no others, with the reason."""
    levels = make(deployments).assign(doubt="")
    doubtful = [each for one in deployments if (each := one.in_doubt()) is not None]
    if not doubtful:
        return levels
    kept_out = make(doubtful)
    same = ["well", "access", "round", "measured_at_utc"]
    if len(levels) and len(kept_out):
        # at one moment of one round there is one level
        # A day is one level by its time, a round by its code: its moment differs from logger to
        # logger.
        named = kept_out["round"].ne("").any()
        keys = same[:3] if named else same
        taken = set(levels[keys].itertuples(index=False, name=None))
        kept_out = kept_out[[key not in taken for key in kept_out[keys].itertuples(index=False, name=None)]]
    if kept_out.empty:
        return levels
    reasons = []
    for row in kept_out.itertuples():
        near = [each for each in doubtful if each.access == row.access and each.instrument == row.instrument]
        reasons.append(near[0].reason_near(to_instant(row.measured_at_utc)))
    kept_out = kept_out.assign(doubt=reasons)
    return pd.concat([levels, kept_out], ignore_index=True) if len(levels) else kept_out


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
        water_elevation_m, uncertainty_m, instrument, and what `gwnet.analysis.loggers.level_rows.with_bounds` adds: of
        a sensor out of water the level is a bound. Of several loggers at the access ``main`` one about which no finding
        is open, then one with a level at the moment, then one with a head before one with a bound, then the one with
        the smallest uncertainty, then by name.
    """
    best: list[dict[str, tuple[Any, dict[str, Any]]]] = [{} for _ in requests]
    wells = sorted({well for request in requests for well in request.wells} & set(record.deployments["well"]))
    moments = [to_instant(request.moment) for request in requests]
    for heads in iterate_heads(record, deployments_in(record, wells)) if wells else ():
        for each in (heads, heads.in_doubt()):
            # Readings are of the main access; a logger in another one is another level.
            if each is None or each.access != "main":
                continue
            exact = interpolate_heads([each], moments).drop_duplicates("moment_utc").set_index("moment_utc", drop=False)
            for request, moment, chosen in zip(requests, moments, best, strict=True):
                if each.well not in request.wells:
                    continue
                is_exact = request.moment in exact.index
                row = (
                    exact.loc[request.moment].rename({"moment_utc": "measured_at_utc"}).to_dict()
                    if is_exact
                    else _nearest(each, moment, to_instant(request.first), to_instant(request.last))
                )
                if row is None:
                    continue
                row["doubt"] = "" if each is heads else each.reason_near(moment)
                # A sound head before a doubtful one, at the moment before near it, a number before
                # a bound, the surer first.
                width = float(row["uncertainty_m"])
                sound = (each is not heads, not is_exact, row["bound"] != "", np.isnan(width), width)
                rank = (*sound, each.instrument, each.deployment_id)
                if each.well not in chosen or rank < chosen[each.well][0]:
                    chosen[each.well] = rank, row
    return [_set_rows(record, chosen) for chosen in best]


def _set_rows(record: Snapshot, chosen: dict[str, tuple[Any, dict[str, Any]]]) -> pd.DataFrame:
    columns = ["site", "well", "access", "measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m"]
    columns += ["bound", "instrument", "doubt"]
    rows = pd.DataFrame([row for _, (_, row) in sorted(chosen.items())], columns=columns)
    rows = rows.astype({"measured_at_utc": _TIME, "water_elevation_m": "float64", "uncertainty_m": "float64"})
    rows = rows.assign(measured_at=local_to_the_minute(rows, str(record.settings["time_zone"])))
    return with_bounds(record, rows)


def _nearest(
    heads: LoggerHeads, moment: np.datetime64, first: np.datetime64, last: np.datetime64
) -> dict[str, Any] | None:
    """Return the head, or the bound, nearest to a moment within a window."""
    low, high = np.searchsorted(heads.time_utc, [first, last])
    level, uncertainty, is_bound = heads.levels()
    here = low + np.flatnonzero(~np.isnan(level[low:high]))
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
        "water_elevation_m": float(level[place]),
        "uncertainty_m": float(uncertainty[place]),
        "bound": "<=" if is_bound[place] else "",
    }


def _round_moments(record: Snapshot, rounds: pd.DataFrame) -> pd.DataFrame:
    """Return rounds with their days, their moments, and whether a moment is the median time of timed levels."""
    zone = str(record.settings["time_zone"])
    first, last = _days_of(rounds)
    noon = (first + (last - first) // 2).astype("datetime64[us]") + np.timedelta64(12, "h")
    moments = pd.DataFrame({"round": rounds["round"].to_numpy(dtype=object), "first_day": first, "last_day": last})
    for name, local in (("first_utc", first), ("end_utc", last + 1), ("moment", noon)):
        moments[name] = to_utc(local.astype("datetime64[us]"), zone).utc
    # Of the events alone: no reduction is needed to know when they were read.
    events = events_of(record, Selection())
    timed = events[events["time_known"].astype(bool)]
    day = local_days(to_instants(timed["measured_at_utc"]), zone)
    medians = []
    for code, since, to in zip(moments["round"], first, last, strict=True):
        own = (timed["round"] == code).to_numpy(dtype=bool)
        inside = own & (day >= since) & (day <= to)
        # A late reading, weeks after the round, must not move its moment; without any inside it has to.
        when = timed.loc[inside if inside.any() else own, "measured_at_utc"]
        # To the second, as half a second of a median is no moment at which anybody read.
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
    levels = levels.sort_values(["bound", "uncertainty_m"], kind="stable")  # a head goes before a bound
    return levels.drop_duplicates(["well", "access", "round"]).reset_index(drop=True)


def _days_of(rounds: pd.DataFrame) -> tuple[NDArray[np.datetime64], NDArray[np.datetime64]]:
    """Return the first and last days of rounds."""
    days = [days_of_round(row) for row in rounds.to_dict("records")]
    first, last = np.array(days, dtype="datetime64[D]").reshape(-1, 2).T
    return first, last


def _daily(deployments: Sequence[LoggerHeads], zone: str, rounds: pd.DataFrame | None) -> pd.DataFrame:
    """Return daily means; of the days of rounds alone where they are given."""
    means = daily_values(deployments, zone)
    if rounds is not None:
        day = means["day"].to_numpy(dtype="datetime64[D]")[:, np.newaxis]
        first, last = _days_of(rounds)
        means = means[((day >= first) & (day <= last)).any(axis=1)]
    noon = means["day"].to_numpy(dtype="datetime64[us]") + np.timedelta64(12, "h")
    utc = pd.DatetimeIndex(to_utc(noon, zone).utc).tz_localize("UTC")
    of_well = {(heads.well, heads.access): heads.instrument for heads in deployments}
    codes = [of_well[key] for key in zip(means["well"], means["access"], strict=True)]
    notes = [
        f"logger, mean of {row.samples} samples of the day"
        + (f", {row.bounds} of them without water above the sensor" if row.bounds else "")
        for row in means.itertuples()
    ]
    means = means.assign(measured_at_utc=utc, time_known=False, round="", instrument=codes, notes=notes)
    return means.reset_index(drop=True)
