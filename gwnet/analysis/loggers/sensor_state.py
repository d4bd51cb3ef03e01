"""Which samples cannot be water above the sensor, and the bound that they give instead: decided here and nowhere else.

A sensor that hangs in air shows that the water is no higher than it, as a dry well does. So the samples of which that
is true give no head, but a bound: the elevation of the sensor and of the least water that it would notice. What is
decided here are open findings as well (`gwnet.analysis.loggers.findings`): a person may confirm one by an exclusion,
which leaves the bound as it is, or dismiss it by the correction ``keep``, which makes the samples levels again.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.loggers.anchor import Anchored
from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.correction_history import (
    AT_LIMIT,
    BEYOND_RANGE,
    CONTRADICTED,
    IN_DOUBT,
    LIFTED,
    NO_WATER,
    OUT_REASONS,
    STUCK,
)
from gwnet.analysis.loggers.level_faults import LevelFaults, find_level_faults
from gwnet.analysis.loggers.sensor_level import SensorLevel, sensor_accuracy_m
from gwnet.analysis.loggers.suggestion import count_samples
from gwnet.clock import to_instants
from gwnet.constants import (
    FLAT_WITH_AIR_S,
    FLAT_WITHOUT_AIR_S,
    LEAST_FAULT_M,
    SPIKE_LONGEST,
    SPIKE_TIMES_NOISE,
)
from gwnet.hydro.arrays import Floats, Instants, runs_of
from gwnet.hydro.loggers.unusable_intervals import (
    Intervals,
    find_flat,
    find_frozen,
    find_out_of_water,
    find_over_range,
    find_pinned,
    has_no_water,
    least_step,
    least_water_m,
)
from gwnet.hydro.reduction.uncertainty import combined_half_width

Mask = NDArray[np.bool_]

_CODE: Final = {reason: OUT_REASONS.index(reason) for reason in OUT_REASONS}

#: Reasons, given here or by a person, with which a sample still shows that the water is no higher than the sensor.
_BOUNDING: Final = np.isin(OUT_REASONS, (NO_WATER, AT_LIMIT, "out of water", "bottomed out"))

#: Those of them with which it shows no more than that the water is no higher than what was read.
_AT_LIMIT: Final = np.isin(OUT_REASONS, (AT_LIMIT, "bottomed out"))


@dataclass(frozen=True)
class SensorState:
    """What the samples of one deployment show about the sensor itself.

    Attributes
    ----------
    out : numpy.ndarray of uint8, shape (n,)
        Place in `OUT_REASONS` of why a sample gives no head; 0 for none.
    shows_bound : numpy.ndarray of bool, shape (n,)
        Whether a sample without a head shows that the water is no higher than the sensor, or than what was read.
    intervals : tuple of (str, Intervals)
        For each rule of the findings, the plainest first, the intervals in which the sensor did not measure the water.
        Samples that a person excluded or keeps belong to none.
    least_water_m : numpy.ndarray, shape (n,)
        Water above the sensor with less of which a sample counts as out of water [m].
    faults : gwnet.analysis.loggers.level_faults.LevelFaults
        Spikes, odd ends and steps of the samples that are left.
    """

    out: NDArray[np.uint8]
    shows_bound: Mask
    least_water_m: Floats
    intervals: tuple[tuple[str, Intervals], ...]
    faults: LevelFaults


def find_sensor_state(
    loggers: LoggerRecord, instrument: str, level: SensorLevel, *, least_m: float, switched: Instants | None = None
) -> SensorState:
    """Return which samples of a deployment cannot be water above the sensor.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    level : SensorLevel
        Level at the sensor, its exclusions marked.
    least_m : float
        Smaller spikes and steps are not looked at [m].
    switched : numpy.ndarray of datetime64[us], optional
        When rates of pumping tests of the site changed: what steps then is the water.

    Returns
    -------
    SensorState
        Reasons and intervals.

    Notes
    -----
    A sample is no water above the sensor where its column is at or below zero within its uncertainty, where it rests at
    the least value that the series ever has, where the pressure of an absolute sensor stays at one value for longer
    than the air ever does, and where it is beyond the range of the instrument. The first two give bounds. A column
    counts before and after steps were added, whichever is larger: a step may be of the cable or of the sensor's zero.
    One to three samples with jumps to the water on their sides are a sensor that was lifted, which gives no bound.
    Spikes and odd ends that nobody has judged give no level. Project default.
    """
    channel, when = level.channel, level.channel.time_utc
    by_person = level.channel.correction_history.find_exclusions(when) > 0
    kept = level.channel.correction_history.find_kept(when)
    raw = np.where(by_person | kept, np.nan, channel.value)
    # Whichever is larger: a step on record may be of the cable or of the sensor's zero.
    column = np.fmax(level.column_m, np.where(np.isnan(level.column_m), np.nan, level.level_m))
    # whatever a person said of a sample, its column still tells whether the sensor was in air
    column = np.where(kept | (np.isnan(channel.value)), np.nan, column)
    half_width = np.hypot(sensor_accuracy_m(loggers, instrument), level.air_half_width_m())
    intervals = tuple(_intervals(loggers, instrument, level, raw, np.where(by_person, np.nan, column), half_width))
    found = dict(intervals)
    codes = np.zeros(len(channel), dtype=np.uint8)
    # In this order, so that a later and plainer rule replaces an earlier one.
    if "over range" in found:
        codes[_inside(found["over range"], raw)] = _CODE[BEYOND_RANGE]
    if channel.quantity == "absolute pressure":
        # with the air in the value no water rests at one value; a vented sensor may stand in a well that overflows
        codes[_inside(found["upper limit"], raw)] = _CODE[BEYOND_RANGE]
        codes[_inside(found["flat"], raw)] = _CODE[STUCK]
    codes[_inside(found["bottomed out"], raw)] = _CODE[AT_LIMIT]
    codes[has_no_water(column, half_width)] = _CODE[NO_WATER]
    out = np.where(level.out > 0, level.out, codes).astype(np.uint8)
    lifted = _are_lifted(_BOUNDING[out], column)
    out[lifted & ~by_person] = _CODE[LIFTED]
    faults = find_level_faults(
        level, by_person | _inside_any(intervals, channel.value), least_m=least_m, switched=switched
    )
    for rule, first, last, _ in faults.outliers():
        span = out[first : last + 1]
        span[span == 0] = OUT_REASONS.index(IN_DOUBT[rule])
    return SensorState(out, _BOUNDING[out] & ~lifted, least_water_m(half_width), intervals, faults)


def find_bounds(state: SensorState, level: SensorLevel, anchored: Anchored) -> tuple[NDArray[np.uint8], Floats, Floats]:
    """Return the bounds of the samples that show no water above the sensor.

    Parameters
    ----------
    state : SensorState
        What the samples show.
    level : SensorLevel
        Level at the sensor.
    anchored : gwnet.analysis.loggers.anchor.Anchored
        What was added to it.

    Returns
    -------
    out : numpy.ndarray of uint8, shape (n,)
        Why a sample gives no head.
    bound_m : numpy.ndarray, shape (n,)
        Elevation at or below which the water is; NaN where there is no bound [m].
    half_width_m : numpy.ndarray, shape (n,)
        Its 95 % half-width; NaN where there is none [m].

    Notes
    -----
    The sensor is where its anchored readings, else its hanging depth and measuring point, have it; a step on record
    that lifts levels lifts it as well, since nobody said whether cable or zero moved. The water may stand as high above
    it as a sample could read and still count as out of water. A sample at the limit shows no more than that the water
    is no higher than what was read. A manual reading that met water above the sensor during such an interval shows that
    the sensor failed: the interval then gives no bound.
    """
    out = anchored.out.copy()
    shows = state.shows_bound & ~np.isnan(anchored.correction_m)
    lifted_m = np.fmax(level.level_m - level.column_m, 0.0)
    read_m = np.where(is_at_limit(out), level.level_m, np.nan)
    above_m = np.where(np.isnan(level.column_m), level.level_m, np.fmax(lifted_m + state.least_water_m, read_m))
    bound = np.where(shows, anchored.correction_m + above_m, np.nan)
    half_width = np.where(np.isnan(bound), np.nan, combined_half_width(*anchored.parts.values()))
    failed = _are_contradicted(level.channel.time_utc, bound, half_width, anchored.manual)
    out[failed & ~_by_person(level)] = _CODE[CONTRADICTED]
    return out, np.where(failed, np.nan, bound), np.where(failed, np.nan, half_width)


def is_at_limit(out: NDArray[np.uint8]) -> Mask:
    """Return which samples were read at the sensor's own limit.

    Parameters
    ----------
    out : numpy.ndarray of uint8, shape (n,)
        Why a sample gives no head.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether a rule or a person says so.
    """
    return np.asarray(_AT_LIMIT[out])


def describe_state(out: NDArray[np.uint8], bound_m: Floats) -> tuple[str, ...]:
    """Return how many samples give no head because of the sensor, in words.

    Parameters
    ----------
    out : numpy.ndarray of uint8, shape (n,)
        Why a sample gives no head.
    bound_m : numpy.ndarray, shape (n,)
        Bounds; NaN for none [m].

    Returns
    -------
    tuple of str
        One sentence a reason that occurs.
    """
    lines = []
    for reason in (NO_WATER, AT_LIMIT, STUCK, BEYOND_RANGE, LIFTED, CONTRADICTED):
        here = out == _CODE[reason]
        count, bounds = int(here.sum()), int((here & ~np.isnan(bound_m)).sum())
        if count:
            of_bounds = f"; {bounds} of them show that the water is at or below an elevation" if bounds else ""
            lines.append(f"{count_samples(count)} without a head: {reason}{of_bounds}")
    return tuple(lines)


def _by_person(level: SensorLevel) -> Mask:
    return np.asarray(level.channel.correction_history.find_exclusions(level.channel.time_utc) > 0)


def _intervals(
    loggers: LoggerRecord, instrument: str, level: SensorLevel, raw: Floats, column: Floats, half_width: Floats
) -> list[tuple[str, Intervals]]:
    """Return the intervals in which the sensor did not measure the water, the plainest rule first."""
    channel, when = level.channel, level.channel.time_utc
    step = least_step(raw)
    # A depth to water rests at its largest value where a sensor's column rests at its least.
    upward = -raw if channel.quantity == "depth to water" else raw
    # a series of one value has no limit that it rests at
    moving = upward if step > 0 else np.full(raw.shape, np.nan)
    longest = FLAT_WITH_AIR_S if channel.quantity == "absolute pressure" else FLAT_WITHOUT_AIR_S
    intervals = [
        ("bottomed out", find_pinned(when, moving, resolution=step)),
        ("upper limit", find_pinned(when, -moving, resolution=step)),
        ("flat", find_flat(when, raw, least_s=longest, resolution=step)),
    ]
    if channel.quantity.endswith("pressure") or channel.quantity == "water column":
        intervals.append(("out of water", find_out_of_water(when, column, half_width_m=half_width)))
        limit = loggers.instrument_number(instrument, "range_m")
        if limit == limit:
            intervals.append(("over range", find_over_range(when, column, range_m=limit)))
    first, last = (pd.Timestamp(edge, tz="UTC") for edge in when[[0, -1]])
    water = loggers.channel(instrument, "water temperature", first, last + pd.Timedelta(seconds=1))
    if water is not None:
        cold = find_frozen(water.time_utc, water.value)
        if cold.first.size:
            intervals.append(("frozen", _find_in(cold, water.time_utc, when)))
    return intervals


def _find_in(intervals: Intervals, from_when: Instants, to_when: Instants) -> Intervals:
    """Return intervals of one series as places in another."""
    first = np.searchsorted(to_when, from_when[intervals.first], side="left").astype(np.int64)
    last = (np.searchsorted(to_when, from_when[intervals.last], side="right") - 1).astype(np.int64)
    places = replace(intervals, first=first, last=last)
    # An interval without a sample of the other series has no place in it.
    kept = last >= first
    return Intervals(*(getattr(places, column.name)[kept] for column in fields(places)))


def _inside(intervals: Intervals, values: Floats) -> Mask:
    """Return which samples lie in intervals."""
    # Counted up and down at the edges, which is one pass over millions of samples.
    edges = np.zeros(values.size + 1, dtype=np.int64)
    np.add.at(edges, intervals.first, 1)
    np.add.at(edges, intervals.last + 1, -1)
    return np.asarray((np.cumsum(edges)[:-1] > 0) & ~np.isnan(values))


def _inside_any(intervals: tuple[tuple[str, Intervals], ...], values: Floats) -> Mask:
    """Return which samples lie in intervals of any rule."""
    inside = np.zeros(values.size, dtype=bool)
    for _, found in intervals:
        inside |= _inside(found, values)
    return inside


def _are_lifted(dry: Mask, column: Floats) -> Mask:
    """Return which samples are of a sensor that was lifted: one to three, with jumps to the water on their sides."""
    lifted = np.zeros(dry.shape, dtype=bool)
    here = np.flatnonzero(~np.isnan(column))
    wet = column[here][~dry[here]]
    if not dry.any() or wet.size < 2:
        return lifted
    # At least the least fault, or a series of one resolution step would have lifts everywhere.
    jump_m = max(SPIKE_TIMES_NOISE * float(np.median(np.abs(np.diff(wet)))), LEAST_FAULT_M)
    for first, end in zip(*runs_of(dry[here]), strict=True):
        last = end - 1
        sides = [place for place in (first - 1, last + 1) if 0 <= place < here.size]
        run = column[here[first : last + 1]]
        if last - first < SPIKE_LONGEST and all(column[here[place]] - run.max() > jump_m for place in sides):
            lifted[here[first : last + 1]] = True
    return lifted


def _are_contradicted(when: Instants, bound: Floats, half_width: Floats, manual: Any) -> Mask:
    """Return which samples lie in an interval of bounds in which a manual reading met water above the sensor."""
    failed = np.zeros(when.size, dtype=bool)
    used = manual[manual["used"].astype(bool)]
    if not len(used) or np.isnan(bound).all():
        return failed
    # As low as the reading may have been: only then is its being above the bound sure.
    read, lowest = to_instants(used["measured_at_utc"]), (used["water_elevation_m"] - used["uncertainty_m"].fillna(0.0))
    for first, end in zip(*runs_of(~np.isnan(bound)), strict=True):
        inside = np.flatnonzero((read >= when[first]) & (read <= when[end - 1]))
        # The sample nearest to the reading, within the interval.
        nearest = first + np.searchsorted(when[first:end], read[inside]).clip(0, end - 1 - first)
        if (lowest.to_numpy()[inside] > bound[nearest] + half_width[nearest]).any():
            failed[first:end] = True
    return failed
