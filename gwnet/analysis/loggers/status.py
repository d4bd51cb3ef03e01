"""State of each logger: what it covers, when it was last seen, how well it held, and what is pending review."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.barometers import barometer_channel
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.finding_rules import BY_PERSON, battery
from gwnet.analysis.loggers.findings import findings_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.clock import to_instant
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import find_gaps, usual_interval_s
from gwnet.store.snapshot import Snapshot

#: Columns of `summarize_status`.
STATUS_COLUMNS: Final = tuple(
    (
        "site well instrument quantity installed_at_utc removed_at_utc first_utc last_utc samples interval_minutes "
        "coverage_percent gaps longest_gap_hours excluded without_level manual_readings last_manual_reading "
        "last_download_utc last_loaded_utc residual_m leave_one_out_residual_m drift_m_per_year drift_share_percent "
        "uncertainty_m battery findings warnings"
    ).split()
)


def summarize_status(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    at_utc: dt.datetime | None = None,
    seen: Callable[[LoggerHeads], object] | None = None,
    other_serials: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the state of each deployment.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record, of one site or of all.
    wells : sequence of str, optional
        Only these wells (and no barometers); all unless given.
    at_utc : datetime.datetime, optional
        Until when a sensor that is still installed should have samples; until its last sample unless given.
    seen : callable, optional
        Called with the heads of each deployment, for what else is made of them while they are at hand; all of them at
        once would be more than a computer holds.
    other_serials : pandas.DataFrame, optional
        As `gwnet.analysis.loggers.findings.findings_of`.

    Returns
    -------
    pandas.DataFrame
        Columns of `STATUS_COLUMNS`, one row a deployment, wells before barometers. Coverage is the share of the time
        from installation to removal that lies in no gap; excluded are samples that a person left out, without a level
        those that have no air pressure, no density or nothing that anchors them; the residuals are the largest of the
        anchored level and of the level that the other manual readings would give; drift is of the last installation
        with two readings or more; the uncertainty is that of the last head. The last download is the last time
        that a file of the deployment has, as the instrument wrote it; last loaded is when it was recorded. Findings
        counts what is pending review; warnings names it.
    """
    loggers = loggers_of(record)
    in_wells = deployments_in(record, wells)
    deployments = _in_order(record.deployments if wells is None else in_wells)
    of_sensors: dict[int, dict[str, Any]] = {}

    def one_by_one() -> Iterator[LoggerHeads]:
        rows = {int(row.deployment_id): row for row in deployments.itertuples()}
        for heads in iterate_heads(record, in_wells):
            of_sensors[heads.deployment_id] = _of_sensor(rows[heads.deployment_id], heads, at_utc)
            if seen is not None:
                seen(heads)
            yield heads

    findings = findings_of(record, one_by_one(), other_serials=other_serials)
    rows = []
    for row in deployments.itertuples():
        place = (row.site, row.well, row.instrument)
        mine = [
            each
            for each in findings
            if (each.site, each.well, each.instrument) == place and _is_within(row, each.start_utc)
        ]
        of_samples = (
            _of_barometer(loggers, row, at_utc) if _in_air(row) else of_sensors.get(int(row.deployment_id), _NOTHING)
        )
        counts = pd.Series([each.rule for each in mine], dtype=object).value_counts(sort=False)
        warned = ", ".join(f"{rule} {count}" if count > 1 else rule for rule, count in counts.items())
        rows.append({**_of_deployment(loggers, row), **of_samples, "findings": len(mine), "warnings": warned})
    return pd.DataFrame(rows, columns=list(STATUS_COLUMNS))


def _in_air(row: Any) -> bool:
    """Return whether an instrument measures the air: a barometer, also one that is installed in a well."""
    return not row.well or row.kind == "barometer"


def _in_order(deployments: pd.DataFrame) -> pd.DataFrame:
    """Return deployments by site, those in water before those in air, by well and time."""
    in_air = (deployments["well"] == "") | (deployments["kind"] == "barometer")
    order = ["site", "in_air", "well", "installed_at_utc", "instrument"]
    return deployments.assign(in_air=in_air).sort_values(order, kind="stable")


def _is_within(row: Any, moment: np.datetime64) -> bool:
    """Return whether something happened during a deployment; what has no time of its own did."""
    start, end = to_instant(row.installed_at_utc), to_instant(row.removed_at_utc)
    # Three days before: a file often begins while the logger still lies in the office.
    return bool(np.isnat(moment) or (moment >= start - np.timedelta64(3, "D") and (np.isnat(end) or moment < end)))


def _of_deployment(loggers: LoggerRecord, row: Any) -> dict[str, Any]:
    downloads = loggers.downloads[loggers.downloads["instrument"] == row.instrument]
    meets = downloads["last_utc"] >= row.installed_at_utc
    if not pd.isna(row.removed_at_utc):
        meets &= downloads["first_utc"] < row.removed_at_utc
    downloads = downloads[meets]
    charge = battery(loggers, row.instrument, row.installed_at_utc, row.removed_at_utc)
    return {
        "site": row.site,
        "well": row.well,
        "instrument": row.instrument,
        "installed_at_utc": row.installed_at_utc,
        "removed_at_utc": row.removed_at_utc,
        "last_download_utc": downloads["last_utc"].max() if len(downloads) else pd.NaT,
        "last_loaded_utc": downloads["recorded_at_utc"].max() if len(downloads) else pd.NaT,
        "battery": "" if charge is None else f"{charge[0]:g} {charge[1]}{', low' if charge[2] else ''}",
    }


def _of_sensor(row: Any, heads: LoggerHeads, at_utc: dt.datetime | None) -> dict[str, Any]:
    used = heads.manual[heads.manual["offset_m"].notna()]
    drift, share = heads.installations.drift_m_per_year, heads.installations.drift_share
    known = np.flatnonzero(~np.isnan(drift))
    last = int(known[-1]) if known.size else -1
    certain = heads.uncertainty_m[~np.isnan(heads.uncertainty_m)]
    return {
        **_of_times(row, heads.time_utc, heads.level.channel.value, at_utc),
        "quantity": heads.quantity,
        "excluded": int(BY_PERSON[heads.out].sum()),
        "without_level": int(((heads.out > 0) & ~BY_PERSON[heads.out]).sum()),
        "manual_readings": len(used),
        "last_manual_reading": heads.manual["measured_at"].iloc[-1] if len(heads.manual) else "",
        "residual_m": _largest(used["residual_m"]),
        "leave_one_out_residual_m": _largest(used["leave_one_out_residual_m"]),
        "drift_m_per_year": float(drift[last]) if last >= 0 else np.nan,
        "drift_share_percent": 100 * float(share[last]) if last >= 0 else np.nan,
        "uncertainty_m": float(certain[-1]) if certain.size else np.nan,
    }


def _of_barometer(loggers: LoggerRecord, row: Any, at_utc: dt.datetime | None) -> dict[str, Any]:
    edges = [to_instant(row.installed_at_utc), to_instant(row.removed_at_utc)]
    if np.isnat(edges[1]):
        edges[1] = to_instant(loggers.series.loc[loggers.series["instrument"] == row.instrument, "last_utc"].max())
    channel = None if np.isnat(edges[1]) else barometer_channel(loggers, row.instrument, np.array(edges))
    if channel is None:
        return _NOTHING
    excluded = int((channel.correction_history.find_exclusions(channel.time_utc) > 0).sum())
    times = _of_times(row, channel.time_utc, channel.value, at_utc)
    return {**_NOTHING, **times, "quantity": channel.quantity, "excluded": excluded}


#: The facts of a deployment without samples.
_NOTHING: Final[dict[str, Any]] = {
    **dict.fromkeys(("quantity", "last_manual_reading"), ""),
    **dict.fromkeys(("first_utc", "last_utc"), pd.NaT),
    **dict.fromkeys(("samples", "gaps", "excluded", "without_level", "manual_readings"), 0),
    **dict.fromkeys(("interval_minutes", "longest_gap_hours", "residual_m", "leave_one_out_residual_m"), np.nan),
    **dict.fromkeys(("drift_m_per_year", "drift_share_percent", "uncertainty_m"), np.nan),
    "coverage_percent": 0.0,
}


def _of_times(row: Any, when: Instants, value: Floats, at_utc: dt.datetime | None) -> dict[str, Any]:
    """Return what the times of the samples show."""
    interval = usual_interval_s(when)
    longest = GAP_TIMES_INTERVAL * interval if interval == interval else 0.0
    gaps = find_gaps(when, value, longest_gap_s=longest)
    start = to_instant(row.installed_at_utc)
    end = to_instant(row.removed_at_utc)
    if np.isnat(end):
        # Up to now, or a logger that fell silent would always have been complete.
        end = max(to_instant(at_utc), when[-1]) if at_utc is not None else when[-1]
    # An interval at either end is no loss: the first sample comes when it is due.
    edges_s = [max(_seconds(start, when[0]) - longest, 0.0), max(_seconds(when[-1], end) - longest, 0.0)]
    lost = float(gaps.duration_s.sum()) + sum(edges_s)
    whole = max(_seconds(start, end), 1.0)
    known = when[~np.isnan(value)]
    return {
        "first_utc": pd.Timestamp(known[0], tz="UTC") if known.size else pd.NaT,
        "last_utc": pd.Timestamp(known[-1], tz="UTC") if known.size else pd.NaT,
        "samples": int(known.size),
        "interval_minutes": interval / 60,
        "coverage_percent": 100.0 * max(1.0 - lost / whole, 0.0),
        "gaps": int(gaps.duration_s.size),
        "longest_gap_hours": float(gaps.duration_s.max()) / 3600 if gaps.duration_s.size else np.nan,
    }


def _seconds(start: np.datetime64, end: np.datetime64) -> float:
    return float((end - start).astype("timedelta64[us]").astype(np.int64)) / MICROSECONDS


def _largest(values: pd.Series) -> float:
    """Return the number that is farthest from zero, with its sign; NaN for none."""
    known = values.dropna().to_numpy(dtype=np.float64)
    return float(known[np.argmax(np.abs(known))]) if known.size else float("nan")
