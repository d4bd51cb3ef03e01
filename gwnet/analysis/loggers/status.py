"""How each logger stands: what it covers, when it was last seen, how well it held, and what waits for a decision."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.loggers.channels import LoggerRecord, gather_loggers
from gwnet.analysis.loggers.correction_history import instant
from gwnet.analysis.loggers.findings import BY_PERSON, battery, findings_of
from gwnet.analysis.loggers.heads import LoggerHeads, each_head
from gwnet.analysis.loggers.sensor_level import barometer_channel
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import find_gaps, usual_interval_s

#: Columns of `status`.
STATUS_COLUMNS: Final = (
    "site",
    "well",
    "instrument",
    "quantity",
    "installed_at_utc",
    "removed_at_utc",
    "first_utc",
    "last_utc",
    "samples",
    "interval_minutes",
    "coverage_percent",
    "gaps",
    "longest_gap_hours",
    "excluded",
    "without_level",
    "manual_readings",
    "last_manual_reading",
    "last_download_utc",
    "residual_m",
    "leave_one_out_residual_m",
    "drift_m_per_year",
    "drift_share_percent",
    "uncertainty_m",
    "battery",
    "findings",
    "warnings",
)


def status(
    connection: Connection,
    wells: Sequence[str] | None = None,
    site: str | None = None,
    *,
    at_utc: dt.datetime | None = None,
    known_on: dt.datetime | None = None,
    seen: Callable[[LoggerHeads], object] | None = None,
) -> pd.DataFrame:
    """Return how each deployment stands.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    wells : sequence of str, optional
        Only these wells (and no barometers); all unless given.
    site : str, optional
        Only this site.
    at_utc : datetime.datetime, optional
        Until when a sensor that still hangs should have samples; until its last sample unless given.
    known_on : datetime.datetime, optional
        Record as known at this time.
    seen : callable, optional
        Called with the heads of each deployment, for what else is made of them while they are at hand; all of them at
        once would be more than a computer holds.

    Returns
    -------
    pandas.DataFrame
        Columns of `STATUS_COLUMNS`, one row a deployment, wells before barometers. Coverage is the share of the time
        from hanging to removal that lies in no gap; excluded are samples that a person left out, without a level those
        that have no air pressure, no density or nothing that ties them; the residuals are the largest of the anchored
        level and of the level that the other manual readings would give; drift is of the last hanging with two readings
        or more; the uncertainty is that of the last head. Findings counts what waits for a decision; warnings names it.
    """
    record = gather_loggers(connection, wells=None if wells is None else list(wells), site=site, known_on=known_on)
    wanted = _wanted(record, wells, site)
    of_sensors: dict[int, dict[str, Any]] = {}

    def one_by_one() -> Iterator[LoggerHeads]:
        hung = {int(row.deployment_id): row for row in wanted.itertuples()}
        for one in each_head(record):
            of_sensors[one.deployment_id] = _of_sensor(hung[one.deployment_id], one, at_utc)
            if seen is not None:
                seen(one)
            yield one

    told = findings_of(record, one_by_one())
    rows = []
    for row in wanted.itertuples():
        mine = [
            each for each in told if (each.site, each.well, each.instrument) == (row.site, row.well, row.instrument)
        ]
        mine = [each for each in mine if _within(row, each.start_utc)]
        told_of = of_sensors.get(int(row.deployment_id), _nothing())
        facts = _of_barometer(record, row, at_utc) if _in_air(row) else told_of
        counts = pd.Series([each.rule for each in mine], dtype=object).value_counts(sort=False)
        warned = ", ".join(f"{rule} {count}" if count > 1 else rule for rule, count in counts.items())
        rows.append({**_of_deployment(record, row), **facts, "findings": len(mine), "warnings": warned})
    return pd.DataFrame(rows, columns=list(STATUS_COLUMNS))


def _in_air(row: Any) -> bool:
    """Return whether an instrument measures the air: a barometer, also one that hangs in a well."""
    return not row.well or row.kind == "barometer"


def _wanted(record: LoggerRecord, wells: Sequence[str] | None, site: str | None) -> pd.DataFrame:
    table = record.deployments
    keep = table["wanted"]
    if wells is None:
        barometers = table["well"] == ""
        keep = keep | (barometers if site is None else barometers & (table["site"] == site))
    rows = table[keep].assign(last=(table["well"] == "") | (table["kind"] == "barometer"))
    return rows.sort_values(["site", "last", "well", "installed_at_utc", "instrument"], kind="stable")


def _within(row: Any, moment: np.datetime64) -> bool:
    """Return whether something happened during a deployment; what has no time of its own did."""
    start, end = instant(row.installed_at_utc), instant(row.removed_at_utc)
    return bool(np.isnat(moment) or (moment >= start - np.timedelta64(3, "D") and (np.isnat(end) or moment < end)))


def _of_deployment(record: LoggerRecord, row: Any) -> dict[str, Any]:
    downloads = record.downloads[record.downloads["instrument"] == row.instrument]
    charge = battery(record, row.instrument, row.installed_at_utc, row.removed_at_utc)
    return {
        "site": row.site,
        "well": row.well,
        "instrument": row.instrument,
        "installed_at_utc": row.installed_at_utc,
        "removed_at_utc": row.removed_at_utc,
        "last_download_utc": downloads["recorded_at_utc"].max() if len(downloads) else pd.NaT,
        "battery": "" if charge is None else f"{charge[0]:g} {charge[1]}{', low' if charge[2] else ''}",
    }


def _of_sensor(row: Any, one: LoggerHeads, at_utc: dt.datetime | None) -> dict[str, Any]:
    used = one.hand[one.hand["offset_m"].notna()]
    known = np.flatnonzero(~np.isnan(one.hangings.drift_m_per_year))
    last = int(known[-1]) if known.size else -1
    heads = np.flatnonzero(~np.isnan(one.uncertainty_m))
    return {
        **_of_times(row, one.time_utc, one.level.channel.value, at_utc),
        "quantity": one.quantity,
        "excluded": int(BY_PERSON[one.out].sum()),
        "without_level": int(((one.out > 0) & ~BY_PERSON[one.out]).sum()),
        "manual_readings": len(used),
        "last_manual_reading": one.hand["measured_at"].iloc[-1] if len(one.hand) else "",
        "residual_m": _largest(used["residual_m"]),
        "leave_one_out_residual_m": _largest(used["leave_one_out_residual_m"]),
        "drift_m_per_year": float(one.hangings.drift_m_per_year[last]) if last >= 0 else np.nan,
        "drift_share_percent": 100 * float(one.hangings.drift_share[last]) if last >= 0 else np.nan,
        "uncertainty_m": float(one.uncertainty_m[heads[-1]]) if heads.size else np.nan,
    }


def _of_barometer(record: LoggerRecord, row: Any, at_utc: dt.datetime | None) -> dict[str, Any]:
    edges = [instant(row.installed_at_utc), instant(row.removed_at_utc)]
    last = record.series[record.series["instrument"] == row.instrument]["last_utc"].max()
    if np.isnat(edges[1]):
        edges[1] = instant(last)
    channel = None if np.isnat(edges[1]) else barometer_channel(record, row.instrument, np.array(edges))
    if channel is None:
        return _nothing()
    excluded = int((channel.correction_history.excluded(channel.time_utc) > 0).sum())
    times = _of_times(row, channel.time_utc, channel.value, at_utc)
    return {**_nothing(), **times, "quantity": channel.quantity, "excluded": excluded}


def _nothing() -> dict[str, Any]:
    """Return the facts of a deployment without samples."""
    return {
        "quantity": "",
        "first_utc": pd.NaT,
        "last_utc": pd.NaT,
        "samples": 0,
        "interval_minutes": np.nan,
        "coverage_percent": 0.0,
        "gaps": 0,
        "longest_gap_hours": np.nan,
        "excluded": 0,
        "without_level": 0,
        "manual_readings": 0,
        "last_manual_reading": "",
        "residual_m": np.nan,
        "leave_one_out_residual_m": np.nan,
        "drift_m_per_year": np.nan,
        "drift_share_percent": np.nan,
        "uncertainty_m": np.nan,
    }


def _of_times(row: Any, when: Instants, value: Floats, at_utc: dt.datetime | None) -> dict[str, Any]:
    """Return what the times of the samples show."""
    interval = usual_interval_s(when)
    longest = GAP_TIMES_INTERVAL * interval if interval == interval else 0.0
    gaps = find_gaps(when, value, longest_gap_s=longest)
    start = instant(row.installed_at_utc)
    end = instant(row.removed_at_utc)
    if np.isnat(end):
        end = max(instant(at_utc), when[-1]) if at_utc is not None else when[-1]
    edges_s = [max(_seconds(start, when[0]) - longest, 0.0), max(_seconds(when[-1], end) - longest, 0.0)]
    lost = float(gaps.duration_s.sum()) + sum(edges_s)
    whole = max(_seconds(start, end), 1.0)
    known = when[~np.isnan(value)]
    return {
        "first_utc": pd.Timestamp(known[0], tz="UTC") if known.size else pd.NaT,
        "last_utc": pd.Timestamp(known[-1], tz="UTC") if known.size else pd.NaT,
        "samples": int(known.size),
        "interval_minutes": interval / 60,
        "coverage_percent": 100.0 * min(max(1.0 - lost / whole, 0.0), 1.0),
        "gaps": int(gaps.duration_s.size),
        "longest_gap_hours": float(gaps.duration_s.max()) / 3600 if gaps.duration_s.size else np.nan,
    }


def _seconds(start: np.datetime64, end: np.datetime64) -> float:
    return float((end - start).astype("timedelta64[us]").astype(np.int64)) / MICROSECONDS


def _largest(values: pd.Series) -> float:
    """Return the number that is farthest from zero, with its sign; NaN for none."""
    known = values.dropna().to_numpy(dtype=np.float64)
    return float(known[np.argmax(np.abs(known))]) if known.size else float("nan")
