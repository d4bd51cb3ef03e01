"""Air pressure at a well: of its barometer, of the barometers that stand in over its gaps, or of a public station.

A barometer that was loaded under two quantities is one barometer. The barometer that a barometer's own deployment names
stands in for it. Air pressure for sea level is reduced to the ground at the well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.channels import Channel, LoggerRecord
from gwnet.analysis.loggers.correction_history import CorrectionHistory, within
from gwnet.analysis.loggers.correction_kinds import KINDS
from gwnet.constants import BAROMETER_GAP_S, GAP_TIMES_INTERVAL, MAD_TO_SD, NORMAL_95
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.barometric import air_pressure_at, align_air_pressure
from gwnet.hydro.loggers.dense_series import find_gaps, seconds_to_nearest, usual_interval_s
from gwnet.hydro.loggers.sea_level import STATION_DISTANCE_PA, station_pressure, station_pressure_half_width

#: The quantity of a public station's air pressure that is reduced to sea level.
SEA_LEVEL: Final = "sea-level pressure"

#: Quantities under which a barometer's own readings may be on record; of two at one instant the first stays.
_OWN: Final = ("air pressure", "absolute pressure")

#: All quantities of a barometer.
AIR_QUANTITIES: Final = (*_OWN, SEA_LEVEL)

#: Fewest moments at which two barometers are compared before one is shifted onto the other (project default).
_LEAST_COMMON: Final = 24


@dataclass(frozen=True)
class AirPressure:
    """Air pressure at a well at the moments of a sensor's samples.

    Attributes
    ----------
    pressure_pa : numpy.ndarray, shape (n,)
        Air pressure at the height of the well; NaN where no barometer has one [Pa].
    away_s : numpy.ndarray, shape (n,)
        Time to the nearest sample of the barometer that it comes from [s].
    half_width_pa : numpy.ndarray, shape (n,)
        95 % half-width that a stand-in or a reduction from sea level adds; 0 for the barometer itself [Pa].
    gap_s : float
        Longest time between two samples that was interpolated over [s].
    steps : tuple of str
        What was done, in words.
    """

    pressure_pa: Floats
    away_s: Floats
    half_width_pa: Floats
    gap_s: float
    steps: tuple[str, ...]


def air_pressure(loggers: LoggerRecord, deployment: Any, when: Instants) -> AirPressure:
    """Return the air pressure at a well at some moments.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    deployment : named tuple
        Row of `gwnet.store.fetch.samples.deployments`; its barometer counts, and over its gaps those that stand in.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments, rising.

    Returns
    -------
    AirPressure
        Air pressure at the height of the well, with what was done.

    Notes
    -----
    A stand-in is shifted by the median of its differences from the barometer where both have 24 moments in common, and
    adds 1.96 standard deviations of these differences (from their median) to the uncertainty; without common moments it
    stays as it is and adds 100 Pa (project default).
    """
    size = when.size
    total = AirPressure(np.full(size, np.nan), np.full(size, np.inf), np.zeros(size), BAROMETER_GAP_S, ())
    if not deployment.barometer:
        return replace(total, steps=("no barometer is named in the deployment",))
    for number, code in enumerate(barometers_of(loggers, deployment.barometer, when)):
        # Stand-ins are read only while something is missing: each is a series of years.
        if number and not np.isnan(total.pressure_pa).any():
            break
        own = _of_barometer(loggers, deployment, code, when)
        total = own if number == 0 else _filled(total, own, code)
    return total


def barometers_of(loggers: LoggerRecord, barometer: str, when: Instants) -> Iterator[str]:
    """Yield a barometer and those that stand in for it, the first choice first.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    barometer : str
        Code of the barometer.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments, rising; deployments of a barometer that meet them count.

    Yields
    ------
    str
        Codes, each once.
    """
    waiting, seen = [barometer], set()
    # A barometer may name one that names it back; each is asked once.
    while waiting:
        code = waiting.pop(0)
        if not code or code in seen:
            continue
        seen.add(code)
        yield code
        rows = _in_air(loggers, code)
        if when.size:
            start, end = (pd.Timestamp(edge, tz="UTC") for edge in (when[0], when[-1]))
            # Installed at some time of the span; NaT, still installed, fails the comparison and counts.
            rows = rows[(rows["installed_at_utc"] <= end) & ~(rows["removed_at_utc"] <= start)]
        waiting += [str(name) for name in rows["barometer"] if name]


def barometer_channel(loggers: LoggerRecord, barometer: str, when: Instants) -> Channel | None:
    """Return what a barometer recorded around some moments, while it was installed as one.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    barometer : str
        Code of the instrument.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments, rising.

    Returns
    -------
    gwnet.analysis.loggers.channels.Channel or None
        Air pressure and absolute pressure of an instrument installed in air, as one series; only without these the air
        pressure for sea level; None without a sample.
    """
    if when.size == 0:
        return None
    # Two days more, so that interpolation and a corrected clock have samples on both sides of the edges.
    margin = pd.Timedelta(days=2)
    start, end = (pd.Timestamp(edge, tz="UTC") for edge in (when[0], when[-1]))
    fetched = [loggers.channel(barometer, quantity, start - margin, end + margin) for quantity in AIR_QUANTITIES]
    *own, sea_level = [None if each is None else _while_in_air(loggers, each) for each in fetched]
    channels = [each for each in own if each is not None]
    if len(channels) < 2:
        return channels[0] if channels else sea_level
    return _joined(*channels)


def barometer_gaps(loggers: LoggerRecord, barometer: str, when: Instants) -> list[tuple[np.datetime64, np.datetime64]]:
    """Return the gaps of a barometer that are not interpolated over.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    barometer : str
        Code of the instrument.
    when : numpy.ndarray of datetime64[us], shape (n,)
        Moments around which it is looked at, rising.

    Returns
    -------
    list of tuple of numpy.datetime64
        Last sample before and first sample after each gap.
    """
    channel = barometer_channel(loggers, barometer, when)
    if channel is None:
        return []
    air_when, air = _included(channel)
    gaps = find_gaps(air_when, air, longest_gap_s=_longest_gap_s(air_when))
    return list(zip(gaps.start_utc, gaps.end_utc, strict=True))


def _of_barometer(loggers: LoggerRecord, deployment: Any, code: str, when: Instants) -> AirPressure:
    """Return the air pressure of one barometer at a well."""
    size = when.size
    nothing = AirPressure(np.full(size, np.nan), np.full(size, np.inf), np.zeros(size), BAROMETER_GAP_S, ())
    channel = barometer_channel(loggers, code, when)
    if channel is None:
        return replace(nothing, steps=(f"no air pressure of {code} is on record in that time",))
    air_when, air = _included(channel)
    gap = _longest_gap_s(air_when)
    pressure = align_air_pressure(when, air_when, air, longest_gap_s=gap)
    steps = [f"less the air pressure of {code}, linear between samples up to {gap / 3600:g} h apart"]
    steps += _describe_clock_and_factor(channel)
    half_width = np.zeros(size)
    if channel.quantity == SEA_LEVEL:
        height = ground_elevation(loggers, deployment.site, deployment.well)
        if height is None:
            why = f"the sea-level pressure of {code} is not used: the ground elevation of the well is not on record"
            return replace(nothing, steps=(why,))
        pressure = station_pressure(pressure, height)
        half_width = np.nan_to_num(station_pressure_half_width(pressure, height))
        steps.append(
            f"sea-level pressure reduced to the well at {height:.1f} m by the standard atmosphere, "
            f"± {float(half_width.max(initial=0.0)):.0f} Pa"
        )
    else:
        above = _height_above_barometer(loggers, deployment, code)
        if above is not None:
            pressure = air_pressure_at(pressure, above)
            steps.append(f"air pressure brought to the well, {above:+.1f} m above the barometer")
        else:
            steps.append("air pressure as at the barometer: the ground elevation there is not on record")
    return AirPressure(pressure, seconds_to_nearest(when, air_when), half_width, gap, tuple(steps))


def _filled(first: AirPressure, other: AirPressure, code: str) -> AirPressure:
    """Return an air pressure with its gaps filled from another barometer."""
    missing = np.isnan(first.pressure_pa)
    filled = missing & ~np.isnan(other.pressure_pa)
    if not filled.any():
        return first
    differences = first.pressure_pa - other.pressure_pa
    differences = differences[~np.isnan(differences)]
    # The uncertainty of the distance holds where nothing measured shows the real one.
    shift, spread = 0.0, max(STATION_DISTANCE_PA, float(other.half_width_pa.max(initial=0.0)))
    words = f"as it is, ± {spread:.0f} Pa: no common time shows how the two differ"
    if differences.size >= _LEAST_COMMON:
        shift = float(np.median(differences))
        # From the median, as a front that reaches one of the two first makes a few large differences.
        spread = NORMAL_95 * MAD_TO_SD * float(np.median(np.abs(differences - shift)))
        words = f"moved by {shift:+.0f} Pa, the median difference at {differences.size} moments, ± {spread:.0f} Pa"
    steps = [f"{int(filled.sum())} samples with the air pressure of {code} instead, {words}", *other.steps[1:]]
    return AirPressure(
        np.where(filled, other.pressure_pa + shift, first.pressure_pa),
        np.where(filled, other.away_s, first.away_s),
        np.where(filled, spread, first.half_width_pa),
        # The longer gap of both, as the half-width is limited by it.
        max(first.gap_s, other.gap_s),
        (*first.steps, *steps),
    )


def _included(channel: Channel) -> tuple[Instants, Floats]:
    """Return times and values of the samples that have one and that nobody excluded."""
    here = ~np.isnan(channel.value) & (channel.correction_history.find_exclusions(channel.time_utc) == 0)
    return channel.time_utc[here], channel.value[here]


def _longest_gap_s(air_when: Instants) -> float:
    """Return the longest time between two samples of a barometer that is interpolated over [s]."""
    interval = usual_interval_s(air_when)
    return max(BAROMETER_GAP_S, GAP_TIMES_INTERVAL * interval) if interval == interval else BAROMETER_GAP_S


def _in_air(loggers: LoggerRecord, instrument: str) -> pd.DataFrame:
    """Return the deployments of an instrument in air."""
    rows = loggers.deployments_of(instrument)
    return rows[(rows["well"] == "") | (rows["kind"] == "barometer")]


def _while_in_air(loggers: LoggerRecord, channel: Channel) -> Channel | None:
    """Return the samples that a barometer recorded while installed in air; all where no deployment is on record."""
    in_air = _in_air(loggers, channel.instrument)
    # Files of barometers are often loaded before anybody recorded where they were installed.
    if in_air.empty:
        return channel
    keep = np.zeros(len(channel), dtype=bool)
    for row in in_air.itertuples():
        keep[within(channel.time_utc, row.installed_at_utc, row.removed_at_utc)] = True
    if not keep.any():
        return None
    return channel if keep.all() else _chosen(channel, keep)


def _chosen(channel: Channel, places: Any) -> Channel:
    """Return a channel with some of its samples, in the order of the places."""
    arrays = {name: getattr(channel, name)[places] for name in ("time_utc", "value", "file_time_utc", "as_read")}
    return replace(channel, **arrays)


def _joined(first: Channel, second: Channel) -> Channel:
    """Return two quantities of one barometer as one series; of two samples at one instant the first one's stays.

    It has the name of the second: the clock of an instrument belongs to its absolute pressure. What was excluded of
    either has no value any more, so that a span excludes samples of its own quantity alone.
    """
    channels = (first, second)
    values = [
        np.where(each.correction_history.find_exclusions(each.time_utc) == 0, each.value, np.nan) for each in channels
    ]
    history = pd.concat([each.correction_history.rows for each in channels], ignore_index=True)
    both = replace(
        second,
        time_utc=np.concatenate([each.time_utc for each in channels]),
        value=np.concatenate(values),
        file_time_utc=np.concatenate([each.file_time_utc for each in channels]),
        as_read=np.concatenate([each.as_read for each in channels]),
        overlapping=first.overlapping + second.overlapping,
        correction_history=CorrectionHistory(history[history["kind"] != "exclusion"], first.correction_history.zone),
    )
    # a sample without a value gives way to one with a value
    order = np.lexsort((np.isnan(both.value), both.time_utc))
    return _chosen(both, order[np.append(True, np.diff(both.time_utc[order]) > np.timedelta64(0, "us"))])


def _describe_clock_and_factor(channel: Channel) -> list[str]:
    """Return how the readings of a barometer were corrected, in words."""
    return [
        f"{channel.correction_history.describe(row)} "
        f"(correction {row.correction_id} by {row.recorded_by}: {row.reason})"
        for row in channel.correction_history.rows.itertuples()
        if KINDS[row.kind].per_segment
    ]


def _height_above_barometer(loggers: LoggerRecord, deployment: Any, barometer: str) -> float | None:
    """Return how much higher the ground is at the well than where its barometer was; None where not known."""
    rows = loggers.deployments_of(barometer)
    # Where a barometer was moved, the newest place is taken for its height.
    rows = rows[rows["well"] != ""]
    if rows.empty:
        return None
    here = ground_elevation(loggers, deployment.site, deployment.well)
    there = ground_elevation(loggers, rows["site"].iloc[-1], rows["well"].iloc[-1])
    return None if here is None or there is None else here - there


def ground_elevation(loggers: LoggerRecord, site: str, well: str) -> float | None:
    """Return the ground elevation of a well.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    site, well : str
        Codes.

    Returns
    -------
    float or None
        Elevation [m]; None where it is not on record.
    """
    wells = loggers.record.wells
    rows = wells[(wells["site"] == site) & (wells["well"] == well)]
    if rows.empty or pd.isna(rows["ground_elevation_m"].iloc[0]):
        return None
    return float(rows["ground_elevation_m"].iloc[0])
