"""Sensor levels anchored to manual readings, and what that tells of the sensor's drift.

Levels and elevations are positive upward. The offset of a manual reading is the manual reading's water elevation less
the sensor's level at that moment; the correction of a sample is what is added to its level.

The sensor's level at a manual reading is interpolated between samples of the same installation; a reading beyond the
first or last sample is compared only within a stated time. Corrections are linear between manual readings, constant
beyond them, and never carried over a restart. An installation without a manual reading gets no elevation here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.constants import (
    DAYS_PER_YEAR,
)
from gwnet.errors import ReductionError
from gwnet.hydro.arrays import Floats, Instants, seconds_after, series
from gwnet.hydro.loggers.dense_series import interpolate_at
from gwnet.units import SECONDS_PER_DAY

_YEAR_S = DAYS_PER_YEAR * SECONDS_PER_DAY


@dataclass(frozen=True)
class Installations:
    """What each installation of a sensor shows, from one restart to the next, in order of time.

    Attributes
    ----------
    start_utc, end_utc : numpy.ndarray of datetime64[us], shape (s,)
        First and last sample; NaT where an installation has none.
    readings : numpy.ndarray of int64, shape (s,)
        Manual readings that anchor it.
    drift_m_per_year : numpy.ndarray, shape (s,)
        How fast the sensor's level departs upward from the manual readings, by least squares [m/year]; NaN for readings
        at fewer than two moments.
    offset_spread_m : numpy.ndarray, shape (s,)
        Largest less smallest offset [m]; NaN without a reading.
    level_range_m : numpy.ndarray, shape (s,)
        Largest less smallest anchored level [m]; NaN without one.
    drift_share : numpy.ndarray, shape (s,)
        Spread of the offsets over the range of the levels; NaN for fewer than two readings or levels that do not move.
    """

    start_utc: Instants
    end_utc: Instants
    readings: NDArray[np.int64]
    drift_m_per_year: Floats
    offset_spread_m: Floats
    level_range_m: Floats
    drift_share: Floats


@dataclass(frozen=True)
class AnchoredLevels:
    """Answer of `anchor_levels`.

    Attributes
    ----------
    water_elevation_m : numpy.ndarray, shape (n,)
        Level plus correction; NaN where the level is missing or no manual reading anchors its installation [m].
    correction_m : numpy.ndarray, shape (n,)
        What was added; NaN where no manual reading anchors the installation [m].
    installation : numpy.ndarray of int64, shape (n,)
        Which of ``installations`` each sample belongs to.
    reading_installation : numpy.ndarray of int64, shape (m,)
        The same for each manual reading.
    sensor_at_reading_m : numpy.ndarray, shape (m,)
        The sensor's level at the moment of the manual reading; NaN where it is not known [m].
    offset_m : numpy.ndarray, shape (m,)
        Manual reading less the sensor's level; NaN where the reading anchors nothing [m].
    shift_m : numpy.ndarray, shape (m,)
        Offset less that of the reading before in the same installation; NaN for the first [m].
    residual_m : numpy.ndarray, shape (m,)
        Manual reading less the anchored level at that moment [m].
    leave_one_out_residual_m : numpy.ndarray, shape (m,)
        Manual reading less the level that the other readings of its installation would give; NaN for the only one [m].
    installations : Installations
        Drift of each installation.
    """

    water_elevation_m: Floats
    correction_m: Floats
    installation: NDArray[np.int64]
    reading_installation: NDArray[np.int64]
    sensor_at_reading_m: Floats
    offset_m: Floats
    shift_m: Floats
    residual_m: Floats
    leave_one_out_residual_m: Floats
    installations: Installations


def anchor_levels(
    sensor_time_utc: ArrayLike,
    sensor_level_m: ArrayLike,
    reading_time_utc: ArrayLike,
    reading_elevation_m: ArrayLike,
    *,
    method: Literal["constant", "linear"],
    longest_gap_s: float,
    restart_utc: ArrayLike = (),
    edge_s: float = 0.0,
) -> AnchoredLevels:
    """Turn a sensor's levels into water elevations by the manual readings of its well.

    Parameters
    ----------
    sensor_time_utc : array_like of datetime64, shape (n,)
        Times of the samples, rising.
    sensor_level_m : array_like, shape (n,)
        Column of water above the sensor, or any other level positive upward; NaN for a missing one [m].
    reading_time_utc : array_like of datetime64, shape (m,)
        Times of the manual readings, in any order.
    reading_elevation_m : array_like, shape (m,)
        Water elevations by hand, positive upward from the vertical datum; NaN counts as no reading [m].
    method : {"constant", "linear"}
        ``constant``: one correction for an installation, the mean offset of its readings. ``linear``: the offset itself
        at each reading, linear in time between readings, and held before the first and after the last of an
        installation.
    longest_gap_s : float
        Longest time between the two samples on either side of a manual reading that is interpolated over [s].
    restart_utc : array_like of datetime64, optional
        Moments at which the hanging depth or the sensor changed; a sample or reading at that very moment belongs to
        what follows.
    edge_s : float, optional
        A manual reading before the first or after the last sample of an installation is compared with that sample
        where it is no farther away than this; zero unless given, so that it is then not compared at all [s].

    Returns
    -------
    AnchoredLevels
        Water elevations, corrections, what each manual reading shows, and the drift of each installation.

    Raises
    ------
    ShapeError
        If times and values of the sensor, or those of the manual readings, differ in shape.
    ReductionError
        If the sensor's times do not rise, a manual reading or restart has no time, the method is unknown or the longest
        gap is negative.

    Notes
    -----
    A manual reading is compared with the sensor's level at its own moment, not with the last one logged: USGS TM 1-A1
    (Cunningham and Schalk, 2011), p. 121-122 and 142. The correction between readings at t0 and t1 is
    e0 + (e1 - e0)(t - t0)/(t1 - t0); drift as linear over a deployment is the practice of CWCB document 123770, p. 7
    (Colorado). That drift is linear is a convention, not a finding: Rosenberry (1990; author and year
    from memory) found drift of the zero to be irregular. Readings at one moment count by their mean.

    With ``linear`` the anchored level equals the manual reading wherever one stands alone at its moment, so its
    residual is 0 and says nothing; ``shift_m`` and ``leave_one_out_residual_m`` show how well the sensor held. A
    installation without a reading keeps NaN: nothing says where its zero is.

    Examples
    --------
    >>> import numpy as np
    >>> day = np.array(["2024-05-01", "2024-05-31", "2024-07-30"], "M8[us]")
    >>> hand = {"reading_time_utc": day[[0, 2]], "reading_elevation_m": [100.00, 100.06]}
    >>> anchored = anchor_levels(day, [2.0, 2.0, 2.0], **hand, method="linear", longest_gap_s=1e4)
    >>> anchored.water_elevation_m.round(2).tolist()
    [100.0, 100.02, 100.06]
    """
    if method not in ("constant", "linear"):
        message = f"Unknown method of anchoring {method!r}; expected 'constant' or 'linear'."
        raise ReductionError(message)
    when, level = series(sensor_time_utc, sensor_level_m, "sensor")
    reading_when, hand = series(reading_time_utc, reading_elevation_m, "series of manual readings", rising=False)
    restarts = np.unique(np.asarray(restart_utc, dtype="datetime64[us]"))
    if np.isnat(restarts).any():
        raise ReductionError("A restart has no time.", fix="Give the moment at which the hanging depth changed.")
    # A sample at the moment of a restart belongs to the new installation.
    installation = np.searchsorted(restarts, when, side="right").astype(np.int64)
    reading_installation = np.searchsorted(restarts, reading_when, side="right").astype(np.int64)
    at_reading, correction = np.full(hand.shape, np.nan), np.full(level.shape, np.nan)
    shift, residual, left_out = (np.full(hand.shape, np.nan) for _ in range(3))
    for number in range(restarts.size + 1):
        mine, theirs = installation == number, reading_installation == number
        at_reading[theirs] = _level_at(reading_when[theirs], when[mine], level[mine], longest_gap_s, edge_s)
        anchors = np.flatnonzero(theirs & ~np.isnan(hand - at_reading))
        anchors = anchors[np.argsort(reading_when[anchors], kind="stable")]
        if anchors.size == 0:
            continue
        start = reading_when[anchors[0]]
        at_s, offset = seconds_after(reading_when[anchors], start), (hand - at_reading)[anchors]
        correction[mine] = _correction(seconds_after(when[mine], start), at_s, offset, method)
        shift[anchors[1:]] = np.diff(offset)
        # Compared at the readings themselves: 0 with "linear" unless several share a moment.
        residual[anchors] = offset - _correction(at_s, at_s, offset, method)
        left_out[anchors] = leave_one_out(at_s, offset, method)
    offsets, elevation = hand - at_reading, level + correction
    shown = _installations(
        when, elevation, installation, reading_when, offsets, reading_installation, restarts.size + 1
    )
    return AnchoredLevels(
        elevation, correction, installation, reading_installation, at_reading, offsets, shift, residual, left_out, shown
    )


def _level_at(asked: Instants, when: Instants, level: Floats, longest_gap_s: float, edge_s: float) -> Floats:
    """Return the sensor's level at the manual readings of one installation."""
    levels = interpolate_at(asked, when, level, longest_gap_s=longest_gap_s)
    numbers = np.flatnonzero(~np.isnan(level))
    if numbers.size == 0 or edge_s <= 0:
        return levels
    for end, outward in ((numbers[0], -1), (numbers[-1], 1)):
        # Beyond the record only: a gap inside it is longer than allowed and stays without a level.
        beyond = outward * seconds_after(asked, when[end])
        levels = np.where(np.isnan(levels) & (beyond > 0) & (beyond <= edge_s), level[end], levels)
    return levels


def _correction(wanted_s: Floats, at_s: Floats, offset_m: Floats, method: Literal["constant", "linear"]) -> Floats:
    """Return the correction at some moments from the offsets at others, these in order of time."""
    if method == "constant":
        return np.full(wanted_s.shape, offset_m.mean())
    # interp needs rising moments; readings at one moment count by their mean.
    moments, place = np.unique(at_s, return_inverse=True)
    means = np.bincount(place, weights=offset_m) / np.bincount(place)
    return np.interp(wanted_s, moments, means)


def leave_one_out(at_s: Floats, offset_m: Floats, method: Literal["constant", "linear"]) -> Floats:
    """Return each offset less what the others would give at its moment.

    Parameters
    ----------
    at_s : numpy.ndarray, shape (m,)
        Moments of the offsets, never falling [s].
    offset_m : numpy.ndarray, shape (m,)
        Manual reading less the sensor's level [m].
    method : {"constant", "linear"}
        As `anchor_levels`.

    Returns
    -------
    numpy.ndarray, shape (m,)
        Residuals; NaN for the only one [m].

    Examples
    --------
    >>> import numpy as np
    >>> leave_one_out(np.array([0.0, 1.0, 2.0]), np.array([1.0, 1.5, 1.2]), "linear").round(2).tolist()
    [-0.5, 0.4, -0.3]
    """
    residuals = np.full(offset_m.shape, np.nan)
    for place in range(offset_m.size if offset_m.size > 1 else 0):
        others = np.arange(offset_m.size) != place
        given = _correction(at_s[[place]], at_s[others], offset_m[others], method)
        residuals[place] = offset_m[place] - given[0]
    return residuals


def _installations(
    when: Instants,
    elevation: Floats,
    installation: NDArray[np.int64],
    reading_when: Instants,
    offsets: Floats,
    reading_installation: NDArray[np.int64],
    count: int,
) -> Installations:
    """Return what each installation shows."""
    start, end = (np.full(count, np.datetime64("NaT"), dtype="datetime64[us]") for _ in range(2))
    readings = np.zeros(count, dtype=np.int64)
    drift, spread, levels, share = (np.full(count, np.nan) for _ in range(4))
    for number in range(count):
        times = when[installation == number]
        if times.size:
            start[number], end[number] = times[0], times[-1]
        anchored = (reading_installation == number) & ~np.isnan(offsets)
        readings[number] = anchored.sum()
        levels[number] = _span(elevation[installation == number])
        spread[number] = _span(offsets[anchored])
        if readings[number] > 1:
            # The offset is what must be added, so a sensor that reads ever more has an offset that falls.
            drift[number] = -_slope_per_year(reading_when[anchored], offsets[anchored])
            share[number] = spread[number] / levels[number] if levels[number] > 0 else np.nan
    return Installations(start, end, readings, drift, spread, levels, share)


def _span(values: Floats) -> float:
    """Return largest less smallest number; NaN for none."""
    numbers = values[~np.isnan(values)]
    return float(numbers.max() - numbers.min()) if numbers.size else float("nan")


def _slope_per_year(when: Instants, values: Floats) -> float:
    """Return the slope of a least-squares line; NaN where all lie at one moment."""
    years = seconds_after(when, when.min()) / _YEAR_S
    away = years - years.mean()
    square = float(away @ away)
    return float(away @ (values - values.mean())) / square if np.ptp(years) > 0 else float("nan")
