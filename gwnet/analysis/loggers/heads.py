"""Heads of loggers: raw samples with the correction history applied, worked out afresh whenever they are asked for.

Nothing here is stored. A new survey, manual reading, barometer file or correction flows into every head the next time,
and an earlier ``known_on`` gives the heads as they were then.

Heads are worked out over the whole deployment, whatever span is asked for, so that a span changes no number. An
excluded sample keeps its level at the sensor and has no elevation, so that nobody who forgets the mask uses it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.anchor import Anchored, anchor
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.correction_history import IN_DOUBT, OUT_REASONS, within
from gwnet.analysis.loggers.doubts import find_doubts
from gwnet.analysis.loggers.sensor_level import SensorLevel, download_files, sensor_level
from gwnet.analysis.loggers.sensor_state import SensorState, describe_state, find_bounds, find_sensor_state
from gwnet.analysis.pumping.readings import changes_of_rate
from gwnet.constants import GAP_TIMES_INTERVAL, MANUAL_READING_GAP_S
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s
from gwnet.hydro.loggers.drift import Installations
from gwnet.hydro.reduction.uncertainty import combined_half_width
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: Columns of `interpolate_heads`.
HEADS_AT_COLUMNS: Final = tuple(
    (
        "site well access instrument deployment_id moment_utc water_elevation_m uncertainty_m bound nearest_utc "
        "nearest_s"
    ).split()
)

_IS_IN_DOUBT: Final = np.isin(OUT_REASONS, list(IN_DOUBT.values()))


@dataclass(frozen=True)
class LoggerHeads:
    """Heads of one deployment, in order of time.

    Attributes
    ----------
    site, well, access, instrument, barometer : str
        What was installed where; barometer is empty where no air pressure was subtracted.
    deployment_id : int
        Row of the deployment.
    quantity : str
        What the heads come from.
    time_utc : numpy.ndarray of datetime64[us], shape (n,)
        Times of the samples, clock corrections applied.
    water_elevation_m, uncertainty_m : numpy.ndarray, shape (n,)
        Water elevation and its 95 % half-width; NaN where ``out`` is not 0 [m].
    bound_m, bound_uncertainty_m : numpy.ndarray, shape (n,)
        Elevation at or below which the water is, and its 95 % half-width, where a sample shows no water above the
        sensor; NaN elsewhere [m].
    doubtful_m, doubtful_uncertainty_m : numpy.ndarray, shape (n,)
        Water elevation and half-width that a sample would have if nobody doubted it, where an open finding keeps it
        out; NaN elsewhere [m].
    sensor_level_m : numpy.ndarray, shape (n,)
        Level at the sensor before it was anchored; it keeps its number where the sample is excluded [m].
    out : numpy.ndarray of uint8, shape (n,)
        0 for a sample that is used, else the place of the reason in `OUT_REASONS`.
    manual : pandas.DataFrame
        Manual readings in that time: `gwnet.analysis.loggers.anchor.MANUAL_COLUMNS`.
    installations : gwnet.hydro.loggers.drift.Installations
        Drift and range of each installation, from one restart to the next.
    steps : tuple of str
        The correction history in words.
    downloads : tuple of str
        Files that the samples came from.
    level, state, anchored : SensorLevel, SensorState, Anchored
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
    bound_m: Floats
    bound_uncertainty_m: Floats
    doubtful_m: Floats
    doubtful_uncertainty_m: Floats
    sensor_level_m: Floats
    out: NDArray[np.uint8]
    manual: pd.DataFrame
    installations: Installations
    steps: tuple[str, ...]
    downloads: tuple[str, ...]
    level: SensorLevel = field(repr=False)
    state: SensorState = field(repr=False)
    anchored: Anchored = field(repr=False)

    def __len__(self) -> int:
        """Return the number of samples."""
        return int(self.time_utc.size)

    def levels(self) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Return what the samples say of the water: heads, or bounds where there was no water above the sensor.

        Returns
        -------
        elevation_m, half_width_m : numpy.ndarray, shape (n,)
            Head or bound and its 95 % half-width; NaN where there is neither [m].
        is_bound : numpy.ndarray of bool, shape (n,)
            Where the water is at or below that.
        """
        is_bound = np.isnan(self.water_elevation_m) & ~np.isnan(self.bound_m)
        elevation = np.where(is_bound, self.bound_m, self.water_elevation_m)
        return elevation, np.where(is_bound, self.bound_uncertainty_m, self.uncertainty_m), is_bound

    def in_doubt(self) -> LoggerHeads | None:
        """Return the levels that open findings keep out, as if they were heads; None for none."""
        if np.isnan(self.doubtful_m).all():
            return None
        nothing = np.full(len(self), np.nan)
        return replace(
            self, water_elevation_m=self.doubtful_m, uncertainty_m=self.doubtful_uncertainty_m, bound_m=nothing
        )

    def reason_near(self, moment: np.datetime64) -> str:
        """Return why the sample nearest to a moment that an open finding keeps out gives no level.

        Parameters as `gwnet.analysis.loggers`.
        """
        places = np.flatnonzero(~np.isnan(self.doubtful_m))
        if not places.size:
            return ""
        nearest = places[int(np.argmin(np.abs((self.time_utc[places] - moment).astype(np.int64))))]
        return OUT_REASONS[int(self.out[nearest])]


def work_out_heads(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    start: dt.datetime | None = None,
    end: dt.datetime | None = None,
) -> list[LoggerHeads]:
    """Return the heads of the loggers that were installed in wells.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    start, end : datetime.datetime, optional
        Aware times; samples at or after start and before end. Everything is worked out over the whole deployment first,
        so that the span asked for changes no number.

    Returns
    -------
    list of LoggerHeads
        One for each deployment with samples of a level in the span, by site, well, instrument and time.
    """
    return list(iterate_heads(record, deployments_in(record, wells), start, end))


def iterate_heads(
    record: Snapshot, deployments: pd.DataFrame, start: dt.datetime | None = None, end: dt.datetime | None = None
) -> Iterator[LoggerHeads]:
    """Yield the heads of deployments, one after the other, so that a caller need not keep them all.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record; it keeps the newest heads, so that they are worked out once however many ask for them.
    deployments : pandas.DataFrame
        Rows of `gwnet.analysis.loggers.channels.deployments_in`; barometers have no heads.
    start, end : datetime.datetime, optional
        As `work_out_heads`.

    Yields
    ------
    LoggerHeads
        As `work_out_heads`, in the order of the rows.
    """
    loggers = loggers_of(record)
    # A barometer in a well measures air: it has no heads.
    in_water = deployments[deployments["kind"] != "barometer"]
    selection = Selection.of(sorted(set(in_water["well"])))
    for row in in_water.itertuples():
        if _meets(row, start, end):
            whole = _worked_out(loggers, row, partial(levels, record, selection))
            if whole is not None:
                beside = partial(_beside, loggers, record, row)
                # Outside the cached heads: doubts ask for the heads of other wells, before theirs are looked at.
                codes = loggers.doubts.once(int(row.deployment_id), partial(find_doubts, loggers, whole, beside))
                whole = _without_doubtful(whole, codes)
            part = None if whole is None else _between(whole, start, end)
            if part is not None and len(part):
                yield part


def _worked_out(loggers: LoggerRecord, row: Any, manual_levels: Callable[[], pd.DataFrame]) -> LoggerHeads | None:
    """Return the heads of a whole deployment before open findings are looked at, worked out once."""
    work_out = partial(_deployment_heads, loggers, row, manual_levels)
    whole: LoggerHeads | None = loggers.heads.once(int(row.deployment_id), work_out)
    return whole


def _beside(loggers: LoggerRecord, record: Snapshot, row: Any) -> list[LoggerHeads]:
    """Return the heads of the other deployments of the same site and barometer, open findings not looked at."""
    rows = deployments_in(record)
    rows = rows[(rows["site"] == row.site) & (rows["kind"] != "barometer") & (rows["barometer"] == row.barometer)]
    selection = Selection.of(sorted(set(rows["well"])))
    # Without doubts of their own, or two wells would wait for each other's.
    others = rows[rows["deployment_id"] != row.deployment_id].itertuples()
    heads = (_worked_out(loggers, other, partial(levels, record, selection)) for other in others)
    return [each for each in heads if each is not None]


def _without_doubtful(whole: LoggerHeads, codes: NDArray[np.uint8]) -> LoggerHeads:
    """Return heads without those that open findings keep out."""
    here = codes != 0
    if not here.any():
        return whole
    return replace(
        whole,
        out=np.where(here, codes, whole.out).astype(np.uint8),
        water_elevation_m=np.where(here, np.nan, whole.water_elevation_m),
        uncertainty_m=np.where(here, np.nan, whole.uncertainty_m),
        doubtful_m=np.where(here, whole.water_elevation_m, whole.doubtful_m),
        doubtful_uncertainty_m=np.where(here, whole.uncertainty_m, whole.doubtful_uncertainty_m),
    )


def _meets(row: Any, start: dt.datetime | None, end: dt.datetime | None) -> bool:
    """Return whether a deployment has a part in a span."""
    ends_before = start is not None and not pd.isna(row.removed_at_utc) and row.removed_at_utc <= pd.Timestamp(start)
    begins_after = end is not None and row.installed_at_utc >= pd.Timestamp(end)
    return not (ends_before or begins_after)


def _deployment_heads(loggers: LoggerRecord, row: Any, manual_levels: Callable[[], pd.DataFrame]) -> LoggerHeads | None:
    """Return the heads of a whole deployment; None where no sample of a level is on record."""
    level = sensor_level(loggers, row)
    if level is None:
        return None
    limits = limits_of(loggers.record.of_site(row.site).settings)[0]
    state = find_sensor_state(
        loggers,
        row.instrument,
        level,
        least_m=limits["logger_fault_m"],
        switched=changes_of_rate(loggers.record.of_site(row.site)),
    )
    anchored = anchor(loggers, row, replace(level, out=state.out), manual_levels())
    out, bound, bound_uncertainty = find_bounds(state, level, anchored)
    used = out == 0
    # What an open finding keeps out still has a level, which is shown as doubtful.
    spiked = _IS_IN_DOUBT[out]
    half_width = combined_half_width(*anchored.parts.values())
    return LoggerHeads(
        site=row.site,
        well=row.well,
        access=row.access,
        instrument=row.instrument,
        barometer=level.barometer,
        deployment_id=int(row.deployment_id),
        quantity=level.channel.quantity,
        time_utc=level.channel.time_utc,
        water_elevation_m=np.where(used, anchored.water_elevation_m, np.nan),
        uncertainty_m=np.where(used, anchored.uncertainty_m, np.nan),
        bound_m=bound,
        bound_uncertainty_m=bound_uncertainty,
        doubtful_m=np.where(spiked, level.level_m + anchored.correction_m, np.nan),
        doubtful_uncertainty_m=np.where(spiked, half_width, np.nan),
        sensor_level_m=level.level_m,
        out=out,
        manual=anchored.manual,
        installations=anchored.installations,
        steps=(*level.steps, *anchored.steps, *describe_state(out, bound)),
        downloads=download_files(loggers, level.channel),
        level=level,
        state=state,
        anchored=anchored,
    )


def _between(whole: LoggerHeads, start: dt.datetime | None, end: dt.datetime | None) -> LoggerHeads:
    """Return the heads at or after a start and before an end."""
    if start is None and end is None:
        return whole
    span = within(whole.time_utc, start, end)
    names = (
        "time_utc",
        "water_elevation_m",
        "uncertainty_m",
        "bound_m",
        "bound_uncertainty_m",
        "doubtful_m",
        "doubtful_uncertainty_m",
        "sensor_level_m",
        "out",
    )
    return replace(whole, **{name: getattr(whole, name)[span] for name in names})


def interpolate_heads(deployments: Iterable[LoggerHeads], moments: ArrayLike) -> pd.DataFrame:
    """Return heads at given moments, linear between the samples on either side.

    Parameters
    ----------
    deployments : iterable of LoggerHeads
        Heads of deployments.
    moments : array_like of datetime64, shape (k,)
        UTC instants.

    Returns
    -------
    pandas.DataFrame
        Columns of `HEADS_AT_COLUMNS`, one row for each deployment and moment at which it has a head: the moment, water
        elevation and uncertainty (the larger of the two samples'), the bound, and the nearest sample with how far it is
        away [s]. Where one of the two samples shows no water above the sensor, the level is a bound (``<=``).

    Notes
    -----
    Nothing is interpolated over more than two hours or one and a half usual intervals, whichever is longer, and nothing
    beyond the first or last sample.
    """
    wanted = np.atleast_1d(np.asarray(moments, dtype="datetime64[us]"))
    frames = [_at(one, wanted) for one in deployments]
    kept = [frame for frame in frames if len(frame)]
    if not kept:
        nothing = pd.DataFrame(columns=list(HEADS_AT_COLUMNS))
        return nothing.astype({"moment_utc": "datetime64[us, UTC]", "nearest_utc": "datetime64[us, UTC]"})
    made = pd.concat(kept, ignore_index=True)
    return made.sort_values(["moment_utc", "site", "well", "deployment_id"], kind="stable", ignore_index=True)


def _at(one: LoggerHeads, wanted: Instants) -> pd.DataFrame:
    """Return the heads of one deployment at moments."""
    level, half_width, bounds = one.levels()
    here = ~np.isnan(level)
    when, is_bound = one.time_utc[here], bounds[here]
    interval = usual_interval_s(one.time_utc)
    # The longer of both, since the samples of a logger may lie a day apart; one sample alone has no interval.
    gap = float(np.fmax(MANUAL_READING_GAP_S, GAP_TIMES_INTERVAL * interval))
    elevation = interpolate_at(wanted, when, level[here], longest_gap_s=gap)
    known = ~np.isnan(elevation)
    # No place beyond the last sample, as nothing is known there.
    after = np.searchsorted(when, wanted[known])
    # Only one sample counts where it lies at the very moment.
    before = np.where(when[after] == wanted[known], after, after - 1)
    uncertainty = half_width[here]
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
            # The larger one: between samples nothing is known better than at them.
            "uncertainty_m": np.maximum(uncertainty[before], uncertainty[after]),
            # Between a bound and a head the water may be at or below the bound: the value is one.
            "bound": np.where(is_bound[before] | is_bound[after], "<=", "").astype(object),
            "nearest_utc": pd.DatetimeIndex(when[nearest]).tz_localize("UTC"),
            "nearest_s": np.minimum(to_before, to_after) / MICROSECONDS,
        }
    )
