"""Heads of loggers: raw samples with the correction history applied, worked out afresh whenever they are asked for.

Nothing here is stored. A new survey, manual reading, barometer file or correction flows into every head the next time,
and an earlier ``known_on`` gives the heads as they were then.

Heads are worked out over the whole deployment, whatever span is asked for, so that a span changes no number. An
excluded sample keeps its level at the sensor and has no elevation, so that nobody who forgets the mask uses it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from sqlalchemy import Connection

from gwnet.analysis.loggers.anchor import Tied, tie
from gwnet.analysis.loggers.channels import LoggerRecord, gather_loggers
from gwnet.analysis.loggers.correction_history import OUT_REASONS, within
from gwnet.analysis.loggers.sensor_level import SensorLevel, download_files, sensor_level
from gwnet.constants import GAP_TIMES_INTERVAL, MANUAL_READING_GAP_S
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s
from gwnet.hydro.loggers.drift import Installations

__all__ = [
    "LEVELS_AT_COLUMNS",
    "OUT_REASONS",
    "LoggerHeads",
    "at_moments",
    "each_head",
    "heads",
    "heads_of",
    "levels_at",
]

#: Columns of `levels_at`.
LEVELS_AT_COLUMNS: Final = (
    "site",
    "well",
    "access",
    "instrument",
    "deployment_id",
    "moment_utc",
    "water_elevation_m",
    "uncertainty_m",
    "nearest_utc",
    "nearest_s",
)


@dataclass(frozen=True)
class LoggerHeads:
    """Heads of one deployment, in order of time.

    Attributes
    ----------
    site, well, access, instrument, barometer : str
        What hung where; barometer is empty where no air was taken off.
    deployment_id : int
        Row of the deployment.
    quantity : str
        What the heads come from.
    time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times of the samples, the clock put right.
    water_elevation_m, uncertainty_m : numpy.ndarray, shape (n,)
        Water elevation and its 95 % half-width; NaN where ``out`` is not 0 [m].
    sensor_level_m : numpy.ndarray, shape (n,)
        Level at the sensor before it was tied; it keeps its number where the sample is excluded [m].
    out : numpy.ndarray of uint8, shape (n,)
        0 for a sample that is used, else the place of the reason in `OUT_REASONS`.
    hand : pandas.DataFrame
        Manual readings in that time: `gwnet.analysis.loggers.anchor.HAND_COLUMNS`.
    hangings : gwnet.hydro.loggers.drift.Installations
        Drift and range of each hanging, from one restart to the next.
    steps : tuple of str
        The correction history in words.
    downloads : tuple of str
        Files that the samples came from.
    level, tied : SensorLevel, Tied
        Everything that was worked out on the way, over the whole deployment.
    """

    site: str
    well: str
    access: str
    instrument: str
    barometer: str
    deployment_id: int
    quantity: str
    time_utc: Instants
    water_elevation_m: Floats
    uncertainty_m: Floats
    sensor_level_m: Floats
    out: NDArray[np.uint8]
    hand: pd.DataFrame
    hangings: Installations
    steps: tuple[str, ...]
    downloads: tuple[str, ...]
    level: SensorLevel = field(repr=False)
    tied: Tied = field(repr=False)

    def __len__(self) -> int:
        """Return the number of samples."""
        return int(self.time_utc.size)


def heads(
    connection: Connection,
    wells: Sequence[str] | None = None,
    site: str | None = None,
    start: dt.datetime | None = None,
    end: dt.datetime | None = None,
    known_on: dt.datetime | None = None,
) -> list[LoggerHeads]:
    """Return the heads of the loggers that hung in wells.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    wells : sequence of str, optional
        Only these wells; all unless given.
    site : str, optional
        Only this site.
    start, end : datetime.datetime, optional
        Aware times; samples at or after start and before end. Everything is worked out over the whole deployment first,
        so that the span asked for changes no number.
    known_on : datetime.datetime, optional
        Record as known at this time; the live record unless given.

    Returns
    -------
    list of LoggerHeads
        One for each deployment with samples of a level in the span, by site, well, instrument and time.
    """
    record = gather_loggers(connection, wells=None if wells is None else list(wells), site=site, known_on=known_on)
    return heads_of(record, start, end)


def heads_of(
    record: LoggerRecord, start: dt.datetime | None = None, end: dt.datetime | None = None
) -> list[LoggerHeads]:
    """Return the heads of the deployments wanted of a gathered record.

    Parameters
    ----------
    record : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    start, end : datetime.datetime, optional
        As `heads`.

    Returns
    -------
    list of LoggerHeads
        As `heads`.
    """
    return list(each_head(record, start, end))


def each_head(
    record: LoggerRecord, start: dt.datetime | None = None, end: dt.datetime | None = None
) -> Iterator[LoggerHeads]:
    """Yield the heads of the deployments wanted of a gathered record, one after the other, so that none need be kept.

    Parameters
    ----------
    record : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    start, end : datetime.datetime, optional
        As `heads`.

    Yields
    ------
    LoggerHeads
        As `heads`, in the same order.
    """
    hung = record.deployments[record.deployments["wanted"] & (record.deployments["kind"] != "barometer")]
    for row in hung.itertuples():
        if _meets(row, start, end):
            one = _deployment_heads(record, row, start, end)
            if one is not None and len(one):
                yield one


def _meets(row: Any, start: dt.datetime | None, end: dt.datetime | None) -> bool:
    """Return whether a deployment has a part in a span."""
    ends_before = start is not None and not pd.isna(row.removed_at_utc) and row.removed_at_utc <= pd.Timestamp(start)
    begins_after = end is not None and row.installed_at_utc >= pd.Timestamp(end)
    return not (ends_before or begins_after)


def _deployment_heads(
    record: LoggerRecord, row: Any, start: dt.datetime | None, end: dt.datetime | None
) -> LoggerHeads | None:
    level = sensor_level(record, row)
    if level is None:
        return None
    tied = tie(record, row, level)
    span = within(level.channel.time_utc, start, end)
    out = tied.out[span]
    return LoggerHeads(
        site=row.site,
        well=row.well,
        access=row.access,
        instrument=row.instrument,
        barometer=level.barometer,
        deployment_id=int(row.deployment_id),
        quantity=level.channel.quantity,
        time_utc=level.channel.time_utc[span],
        water_elevation_m=np.where(out == 0, tied.water_elevation_m[span], np.nan),
        uncertainty_m=np.where(out == 0, tied.uncertainty_m[span], np.nan),
        sensor_level_m=level.level_m[span],
        out=out,
        hand=tied.hand,
        hangings=tied.hangings,
        steps=(*level.steps, *tied.steps),
        downloads=download_files(record, level.channel),
        level=level,
        tied=tied,
    )


def levels_at(
    connection: Connection,
    moments: ArrayLike,
    *,
    wells: Sequence[str] | None = None,
    site: str | None = None,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return the heads of loggers at given moments.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    moments : array_like of datetime64, shape (k,)
        UTC instants.
    wells : sequence of str, optional
        Only these wells.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        As `at_moments`.
    """
    return at_moments(heads(connection, wells, site, known_on=known_on), moments)


def at_moments(found: Iterable[LoggerHeads], moments: ArrayLike) -> pd.DataFrame:
    """Return heads at given moments, linear between the samples on either side.

    Parameters
    ----------
    found : iterable of LoggerHeads
        Heads of deployments.
    moments : array_like of datetime64, shape (k,)
        UTC instants.

    Returns
    -------
    pandas.DataFrame
        Columns of `LEVELS_AT_COLUMNS`, one row for each deployment and moment at which it has a head: the moment, water
        elevation and uncertainty (the larger of the two samples'), and the nearest sample with how far it is away [s].

    Notes
    -----
    Nothing is interpolated over more than two hours or one and a half usual intervals, whichever is longer, and nothing
    beyond the first or last sample.
    """
    wanted = np.atleast_1d(np.asarray(moments, dtype="datetime64[us]"))
    frames = [_at(one, wanted) for one in found]
    kept = [frame for frame in frames if len(frame)]
    if not kept:
        nothing = pd.DataFrame(columns=list(LEVELS_AT_COLUMNS))
        return nothing.astype({"moment_utc": "datetime64[us, UTC]", "nearest_utc": "datetime64[us, UTC]"})
    made = pd.concat(kept, ignore_index=True)
    return made.sort_values(["moment_utc", "site", "well", "deployment_id"], kind="stable", ignore_index=True)


def _at(one: LoggerHeads, wanted: Instants) -> pd.DataFrame:
    """Return the heads of one deployment at moments."""
    here = ~np.isnan(one.water_elevation_m)
    when = one.time_utc[here]
    interval = usual_interval_s(one.time_utc)
    gap = max(MANUAL_READING_GAP_S, GAP_TIMES_INTERVAL * interval if interval == interval else 0.0)
    elevation = interpolate_at(wanted, when, one.water_elevation_m[here], longest_gap_s=gap)
    known = ~np.isnan(elevation)
    after = np.searchsorted(when, wanted[known]).clip(0, max(when.size - 1, 0))
    before = np.where(when[after] == wanted[known], after, (after - 1).clip(0))
    uncertainty = one.uncertainty_m[here]
    to_after, to_before = (np.abs((when[place] - wanted[known]).astype(np.int64)) for place in (after, before))
    nearest = np.where(to_before <= to_after, before, after)
    return pd.DataFrame(
        {
            "site": one.site,
            "well": one.well,
            "access": one.access,
            "instrument": one.instrument,
            "deployment_id": one.deployment_id,
            "moment_utc": pd.DatetimeIndex(wanted[known]).tz_localize("UTC"),
            "water_elevation_m": elevation[known],
            "uncertainty_m": np.maximum(uncertainty[before], uncertainty[after]),
            "nearest_utc": pd.DatetimeIndex(when[nearest]).tz_localize("UTC"),
            "nearest_s": np.minimum(to_before, to_after) / MICROSECONDS,
        }
    )
