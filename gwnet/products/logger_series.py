"""Heads of loggers made ready for figures: one line a well, broken at gaps, and who has data when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.barometers import AIR_QUANTITIES
from gwnet.analysis.loggers.channels import deployments_in, loggers_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads, work_out_heads
from gwnet.analysis.loggers.level_rows import is_approved_at
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.figures.base.text import number_text
from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.hydro.loggers.dense_series import usual_interval_s
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.snapshot import Snapshot

#: A run of samples: well, instrument, first and last sample, whether it is left out.
Run = tuple[str, str, Any, Any, bool]

_SECOND = np.timedelta64(1, "s")
#: Runs of samples that are left out are marked in hydrographs from this length on; coverage charts show all of them.
_SHOWN_RUN = pd.Timedelta(days=1)


def logger_series(record: Snapshot, wells: Sequence[str]) -> dict[str, LoggerSeries]:
    """Return the heads of loggers of wells, for their hydrographs.

    Returns
    -------
    dict of str to LoggerSeries
        By well; those without a logger have none. The line is broken where samples are further apart than usual, where
        they are left out, and between deployments; a head is approved between two approved manual readings of one
        installation.
    """
    by_well: dict[str, list[LoggerHeads]] = {}
    for heads_of_one in work_out_heads(record, wells):
        by_well.setdefault(heads_of_one.well, []).append(heads_of_one)
    return {well: line_of_well(members, record) for well, members in by_well.items()}


def line_of_well(members: Sequence[LoggerHeads], record: Snapshot) -> LoggerSeries:
    """Return the line of one well, from its deployments in order of time.

    Parameters
    ----------
    members : sequence of LoggerHeads
        Heads of the well's deployments.
    record : gwnet.store.snapshot.Snapshot
        The record, for review states and deployments.

    Returns
    -------
    LoggerSeries
        As of `logger_series`.
    """
    ordered = sorted(members, key=lambda one: (one.time_utc[0], one.deployment_id))
    states = record.reviews.set_index("event_id")["state"]
    deployments = record.deployments.set_index("deployment_id")
    doubtful = [_pieces(each, states) for one in ordered if (each := one.in_doubt()) is not None]
    pieces = [_pieces(one, states) for one in ordered]
    times, values, approved = (np.concatenate([piece[place] for piece in pieces]) for place in range(3))
    # Two loggers may hang in one well at a time; the line is of the well. Stable, so that a break stays behind its
    # sample.
    order = np.argsort(times, kind="stable")
    spans = []
    for one in ordered:
        row = deployments.loc[one.deployment_id]
        until = row["removed_at_utc"]
        spans.append((one.instrument, row["installed_at_utc"], None if pd.isna(until) else until))
    return LoggerSeries(
        time_utc=times[order],
        water_elevation_m=values[order],
        approved=approved[order].astype(bool),
        installed=tuple(spans),
        left_out=tuple(
            (since, to) for one in ordered for since, to in _runs(one, left_out=True) if to - since >= _SHOWN_RUN
        ),
        notes=tuple(_note(one) for one in ordered),
        bounds=tuple(bound for one in ordered for bound in _bounds(one)),
        **_doubtful(doubtful),
    )


def _doubtful(pieces: Sequence[tuple[Any, Any, Any]]) -> dict[str, Any]:
    """Return times and elevations that open findings keep out, each run with a break after it."""
    if not pieces:
        return {}
    times, values = (np.concatenate([piece[place] for piece in pieces]) for place in (0, 1))
    known = ~np.isnan(values)
    # With the place behind each known one, which breaks the line there.
    kept = known | np.append(False, known[:-1])
    order = np.argsort(times[kept], kind="stable")
    return {"doubtful_utc": times[kept][order], "doubtful_m": values[kept][order]}


def _pieces(one: LoggerHeads, states: pd.Series) -> tuple[Any, Any, Any]:
    """Return times, heads and whether approved, with a break after each gap and at the end."""
    when, gaps = one.time_utc, _gaps(one)
    ends = np.append(gaps, when.size - 1)
    # A missing value, a second later, breaks the line; it would be drawn across the gap otherwise.
    breaks = when[ends] + _SECOND
    times = np.insert(when, ends + 1, breaks)
    values = np.insert(one.water_elevation_m, ends + 1, np.nan)
    approved = np.insert(is_approved_at(one, states, when), ends + 1, values=False)
    return times, values, approved


def _gaps(one: LoggerHeads) -> NDArray[np.int64]:
    """Return the places of the samples after which the next one is further away than usual."""
    interval = usual_interval_s(one.time_utc)
    if np.isnan(interval):
        return np.empty(0, dtype=np.int64)
    longest = np.timedelta64(int(GAP_TIMES_INTERVAL * interval * 1e6), "us")
    return np.flatnonzero(np.diff(one.time_utc) > longest).astype(np.int64)


def _runs(one: LoggerHeads, *, left_out: bool) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Return the unbroken runs of samples that are left out, or of those that give a head or a bound."""
    # A bound is no head, but says something of the water: it is not called left out.
    state = (one.out != 0) & np.isnan(one.bound_m)
    return [
        (pd.Timestamp(one.time_utc[a], tz="UTC"), pd.Timestamp(one.time_utc[b], tz="UTC"))
        for a, b in _unbroken(one, state)
        if bool(state[a]) == left_out
    ]


def _unbroken(one: LoggerHeads, state: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the places of the first and last sample of each run of one state without a gap."""
    changes = np.flatnonzero(np.diff(state.astype(np.int8)) != 0)
    ends = np.union1d(np.union1d(changes, _gaps(one)), [one.time_utc.size - 1]).astype(np.int64)
    return list(zip([0, *(ends[:-1] + 1).tolist()], ends.tolist(), strict=True))


def _bounds(one: LoggerHeads) -> list[tuple[Any, Any, float, float]]:
    """Return the unbroken runs of bounds, each with its first and last time and bound."""
    state = ~np.isnan(one.bound_m)
    return [
        (one.time_utc[a], one.time_utc[b], float(one.bound_m[a]), float(one.bound_m[b]))
        for a, b in _unbroken(one, state)
        if state[a]
    ]


def _note(one: LoggerHeads) -> str:
    """Return a sentence on how a logger is anchored: its manual readings, how well they agree, its drift."""
    used = one.manual[one.manual["used"].astype(bool) & one.manual["offset_m"].notna()]
    if used.empty:
        return f"Logger {one.instrument}: by its hanging depth alone, no manual reading holds it."
    words = f"Logger {one.instrument}: held by {len(used)} manual reading{'s' if len(used) > 1 else ''}"
    checks = used["leave_one_out_residual_m"].dropna().abs()
    if len(checks):
        words += f", each within {1000.0 * float(checks.max()):.0f} mm of what the others give"
    rates = one.installations.drift_m_per_year
    # A drift through two readings fits whatever they are.
    counted = one.installations.readings >= 3
    known = rates[counted & ~np.isnan(rates)]
    if known.size:
        kept = "taken out" if any("linear between" in step for step in one.steps) else "left in"
        rates_mm = " and ".join(number_text(1000.0 * float(rate), 0, signed=True) for rate in known)
        words += f"; drift {rates_mm} mm a year, {kept}"
    return f"{words}."


@dataclass(frozen=True, eq=False)
class Coverage:
    """What a chart of coverage is drawn from; frames as `gwnet.figures.coverage.draw.coverage_plot_data` takes them."""

    deployments: pd.DataFrame
    runs: pd.DataFrame
    hands: pd.DataFrame


def coverage(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    loggers_only: bool = False,
    runs: Sequence[Run] | None = None,
) -> Coverage:
    """Return which logger has samples when, and which well manual readings.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    wells : sequence of str, optional
        Only these wells; barometers stay.
    loggers_only : bool, optional
        Whether wells in which no logger was installed are left out.
    runs : sequence of Run, optional
        Runs of the loggers in wells, where the caller has them already.

    Returns
    -------
    Coverage
        Deployments, unbroken runs of samples, and manual readings that gave a level or a bound.
    """
    deployments, table = record.deployments, levels(record)
    read = table.loc[table["water_elevation_m"].notna(), ["well", "measured_at_utc"]]
    if wells is not None:
        # Barometers hang in no well, and are drawn whichever wells are named.
        deployments = deployments[deployments["well"].isin([*wells, ""])]
        read = read[read["well"].isin(list(wells))]
    if loggers_only:
        read = read[read["well"].isin(deployments["well"])]
    in_air = deployments[(deployments["well"] == "") | (deployments["kind"] == "barometer")]
    rows = _barometer_runs(record, in_air)
    if runs is None:
        runs = [run for one in iterate_heads(record, deployments_in(record, wells)) for run in runs_of(one)]
    spans = pd.DataFrame([*rows, *runs], columns=["well", "instrument", "start_utc", "end_utc", "left_out"])
    times = {"start_utc": "datetime64[us, UTC]", "end_utc": "datetime64[us, UTC]"}
    return Coverage(deployments, spans.astype(times), read)


def runs_of(one: LoggerHeads) -> list[Run]:
    """Return the unbroken runs of samples of one deployment: those that are used, then those that are left out.

    Returns
    -------
    list of Run
        Well, instrument, first and last sample, whether it is left out.
    """
    return [
        (one.well, one.instrument, since, to, left_out)
        for left_out in (False, True)
        for since, to in _runs(one, left_out=left_out)
    ]


def _barometer_runs(record: Snapshot, deployments: pd.DataFrame) -> list[Run]:
    """Return the unbroken runs of samples of the barometers."""
    connection, known_on = record.connection, record.known_on
    series = loggers_of(record).series
    rows: list[Run] = []
    for well, code in sorted(set(zip(deployments["well"], deployments["instrument"], strict=True))):
        own = series[(series["instrument"] == code) & series["quantity"].isin(AIR_QUANTITIES)]
        parts = [
            fetch_samples.samples(
                connection, row.series_id, known_on=known_on, is_packed=row.packed_count == row.sample_count
            )
            for row in own.itertuples()
        ]
        # files of one barometer may have come under two quantities, with the same times
        stamps = np.unique(np.concatenate([when[~np.isnan(value)] for when, value in parts])) if parts else np.empty(0)
        if not stamps.size:
            continue
        times = stamps.astype("datetime64[ms]").astype("datetime64[us]")
        interval = usual_interval_s(times)
        # Stamps count milliseconds.
        longest = np.inf if np.isnan(interval) else GAP_TIMES_INTERVAL * interval * 1000.0
        ends = np.append(np.flatnonzero(np.diff(stamps) > longest), stamps.size - 1)
        starts = np.append(0, ends[:-1] + 1)
        rows += [
            (well, code, pd.Timestamp(times[a], tz="UTC"), pd.Timestamp(times[b], tz="UTC"), False)
            for a, b in zip(starts, ends, strict=True)
        ]
    return rows
