"""Air pressure: aligned in time with a sensor, brought to its height, taken off; and barometric efficiency.

Taking the air off an absolute sensor gives what stands in the well. That the level in the well itself answers to air
pressure is another matter: removing that answer is a separate step, taken only on purpose.

Pressures are pascals, absolute or of the water alone, never "gauge" without saying so. A missing barometer, a gap
longer than allowed or a temperature outside the density formula gives NaN, never a guess. Barometric efficiency is
worked out three ways, which differ, and is never part of taking the air off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gwnet.constants import DRY_AIR_GAS_CONSTANT_J_KG_K, STANDARD_GRAVITY_M_S2, ZERO_CELSIUS_K
from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.arrays import Floats, broadcast
from gwnet.hydro.loggers.dense_series import interpolate_at
from gwnet.hydro.loggers.limits import half_width_of_sum, half_width_of_wandering_sum


def align_air_pressure(
    sensor_time_utc: ArrayLike, air_time_utc: ArrayLike, air_pressure_pa: ArrayLike, *, longest_gap_s: float
) -> Floats:
    """Return the air pressure at the moments of a sensor's samples.

    Parameters
    ----------
    sensor_time_utc : array_like of datetime64, shape (n,)
        Times of the sensor's samples.
    air_time_utc : array_like of datetime64, shape (m,)
        Times of the barometer's samples, rising.
    air_pressure_pa : array_like, shape (m,)
        What the barometer read; NaN counts as no sample [Pa].
    longest_gap_s : float
        Longest time between two samples of the barometer that is interpolated over [s].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Air pressure at the barometer, linear between its samples; NaN in a longer gap and outside its record [Pa].

    Raises
    ------
    ShapeError
        If times and pressures of the barometer differ in shape.
    ReductionError
        If the barometer's times do not rise, or the longest gap is negative or NaN.

    Notes
    -----
    Air pressure measured at the same time as the sensor: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 140. How long a
    gap may be is a judgement: a front moves air pressure by some 100 Pa, 1 cm of water, within an hour (common
    practice, no source).

    Examples
    --------
    >>> air = ["2024-05-01T00:00", "2024-05-01T01:00"]
    >>> align_air_pressure(["2024-05-01T00:15"], air, [100_000.0, 100_200.0], longest_gap_s=3600.0).tolist()
    [100050.0]
    """
    return interpolate_at(sensor_time_utc, air_time_utc, air_pressure_pa, longest_gap_s=longest_gap_s)


def air_pressure_at(
    air_pressure_pa: ArrayLike,
    height_above_barometer_m: ArrayLike,
    *,
    air_temperature_degc: ArrayLike = 15.0,
    gravity_m_s2: ArrayLike = STANDARD_GRAVITY_M_S2,
) -> Floats:
    """Return the air pressure at another height than the barometer's.

    Parameters
    ----------
    air_pressure_pa : array_like
        Air pressure at the barometer, as read there and not reduced to sea level [Pa].
    height_above_barometer_m : array_like
        Height of the wanted place above the barometer, positive upward: of the water in the well as a rule [m].
    air_temperature_degc : array_like, optional
        Mean temperature of the air between; 15 unless given, the standard atmosphere's at sea level [degC].
    gravity_m_s2 : array_like, optional
        Gravity; the standard one unless given [m/s2].

    Returns
    -------
    numpy.ndarray
        Air pressure there: lower above the barometer, higher below it [Pa].

    Notes
    -----
    p exp(-g dz / (R T)), dry air of one temperature, R of ISO 2533 (standard atmosphere). Near sea level 10 m are
    about 120 Pa or 12 mm of water; the same formula brings a sea-level-reduced pressure to the site.

    Examples
    --------
    >>> round(101_325.0 - float(air_pressure_at(101_325.0, 10.0)), 1)
    120.1
    """
    pressure, height, temperature, gravity = broadcast(
        air_pressure_pa=air_pressure_pa,
        height_above_barometer_m=height_above_barometer_m,
        air_temperature_degc=air_temperature_degc,
        gravity_m_s2=gravity_m_s2,
    )
    scale = DRY_AIR_GAS_CONSTANT_J_KG_K * (temperature + ZERO_CELSIUS_K) / gravity
    return np.asarray(pressure * np.exp(-height / scale))


def without_air(absolute_pressure_pa: ArrayLike, air_pressure_pa: ArrayLike) -> Floats:
    """Return the pressure of the water alone from an absolute sensor.

    Parameters
    ----------
    absolute_pressure_pa : array_like
        What the absolute sensor read: water and air [Pa].
    air_pressure_pa : array_like
        Air pressure on the water in the well at the same moments [Pa].

    Returns
    -------
    numpy.ndarray
        Pressure of the water; negative where the two instruments disagree by more than the column [Pa].

    Notes
    -----
    Air pressure is taken off absolute sensors only: USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 140; ISO 22475-1,
    10.1.3. A vented sensor has it off already.

    Examples
    --------
    >>> float(without_air(152_340.0, 100_210.0))
    52130.0
    """
    absolute, air = broadcast(absolute_pressure_pa=absolute_pressure_pa, air_pressure_pa=air_pressure_pa)
    return absolute - air


@dataclass(frozen=True)
class ClarkEfficiency:
    """Answer of `clark_efficiency`.

    Attributes
    ----------
    efficiency : float
        Barometric efficiency; NaN without a change of air pressure.
    half_width : float
        Its 95 % half-width.
    air_sum_m : numpy.ndarray, shape (n - 1,)
        Running sum of the changes of air pressure, each taken positive [m of water].
    water_sum_m : numpy.ndarray, shape (n - 1,)
        Running sum of the changes of water level, positive where they oppose the air's [m].
    """

    efficiency: float
    half_width: float
    air_sum_m: Floats
    water_sum_m: Floats


def clark_efficiency(water_elevation_m: ArrayLike, air_pressure_m: ArrayLike) -> ClarkEfficiency:
    """Return the barometric efficiency by the signs of successive changes.

    Parameters
    ----------
    water_elevation_m : array_like, shape (n,)
        Water elevation at even intervals, the air taken off; a NaN between two samples parts them [m].
    air_pressure_m : array_like, shape (n,)
        Air pressure at the same moments, in metres of water of the well's own density and gravity [m].

    Returns
    -------
    ClarkEfficiency
        Efficiency and both running sums; a step that does not count leaves them as they are.

    Notes
    -----
    Clark (1967), Journal of the Hydraulics Division ASCE 93(HY4), 93-98 (rules from memory). Falling air pressure and
    rising water count positive. The air's sum grows by the size of each change; the water's by the size of its change
    where both have one sign, and falls by it where they differ; steps without a change of air pressure do not count. A
    trend in the level weighs less than in a regression, since it agrees with the air as often as not. Limits:
    `gwnet.hydro.loggers.limits.half_width_of_sum`.

    Examples
    --------
    >>> round(clark_efficiency([50.000, 49.982, 50.006, 50.000], [10.20, 10.23, 10.19, 10.20]).efficiency, 3)
    0.6
    """
    level, air = _paired(water_elevation_m, air_pressure_m)
    rise, fall = np.diff(level), -np.diff(air)
    counts = ~np.isnan(rise) & ~np.isnan(fall)
    air_sum = np.cumsum(np.where(counts, np.abs(fall), 0.0))
    water_sum = np.cumsum(np.where(counts, np.sign(fall) * rise, 0.0))  # a step without a change of air adds 0
    total = float(air_sum[-1]) if air_sum.size else 0.0
    if not total > 0:
        return ClarkEfficiency(float("nan"), float("nan"), air_sum, water_sum)
    efficiency = float(water_sum[-1]) / total
    left = np.sign(fall[counts]) * (rise[counts] - efficiency * fall[counts])
    return ClarkEfficiency(efficiency, float(half_width_of_sum(left / total)), air_sum, water_sum)


@dataclass(frozen=True)
class RegressionEfficiency:
    """Answer of `regression_efficiency`.

    Attributes
    ----------
    efficiency : float
        Barometric efficiency: less the slope of level on air pressure; NaN where that is not known.
    half_width : float
        Its 95 % half-width.
    correlation : float
        Coefficient of correlation of level and air pressure, or of their changes; negative for a well that answers.
    count : int
        Pairs that the line was put through.
    """

    efficiency: float
    half_width: float
    correlation: float
    count: int


def regression_efficiency(
    water_elevation_m: ArrayLike, air_pressure_m: ArrayLike, *, of_changes: bool, over: int = 1
) -> RegressionEfficiency:
    """Return the barometric efficiency by least squares.

    Parameters
    ----------
    water_elevation_m : array_like, shape (n,)
        Water elevation, the air taken off; NaN leaves a pair out [m].
    air_pressure_m : array_like, shape (n,)
        Air pressure at the same moments, in metres of water of the well's own density and gravity [m].
    of_changes : bool
        Whether changes are compared rather than the levels as they are.
    over : int, optional
        Samples from the first to the last of a change, 1 unless given; changes over several overlap.

    Raises
    ------
    ShapeError
        If levels and air pressures differ in shape.
    ReductionError
        If changes are over fewer than 1 sample.

    Notes
    -----
    Ordinary least squares with an intercept; BE = -dh/dB, both in metres of water. Levels as they are take every trend
    of the season for an answer to the air; changes from sample to sample take noise and delay for want of one. The
    three methods give three answers; which one serves is the user's judgement. Limits:
    `gwnet.hydro.loggers.limits.half_width_of_sum`, for levels as they are
    `gwnet.hydro.loggers.limits.half_width_of_wandering_sum`.

    Examples
    --------
    >>> round(regression_efficiency([50.0, 49.4, 50.3], [10.0, 11.0, 9.5], of_changes=False).efficiency, 3)
    0.6
    """
    level, air = _paired(water_elevation_m, air_pressure_m)
    if over < 1:
        message = f"Changes cannot be over {over} samples."
        raise ReductionError(message, fix="Give 1 or more.")
    # before the differences, whose rounding is that of the whole numbers
    level_noise, air_noise = _rounding(level), _rounding(air)
    if of_changes:
        level, air = level[over:] - level[:-over], air[over:] - air[:-over]
    here = ~(np.isnan(level) | np.isnan(air))
    level, air = level[here], air[here]
    if level.size < 2:
        return RegressionEfficiency(float("nan"), float("nan"), float("nan"), int(level.size))
    # centred first: air pressure is ten metres of water, its changes are centimetres
    level, air = level - level.mean(), air - air.mean()
    air_size, level_size, product = float(np.sqrt(air @ air)), float(np.sqrt(level @ level)), float(air @ level)
    # a flat series has no slope, and rounding must not make one
    air_moves, level_moves = air_size > air_noise, level_size > level_noise
    slope = product / air_size**2 if air_moves else float("nan")
    correlation = product / (air_size * level_size) if air_moves and level_moves else float("nan")
    half_width = float("nan")
    if air_moves:
        weights, left = air / air_size**2, level - slope * air
        half_width = float(
            half_width_of_sum(weights * left) if of_changes else half_width_of_wandering_sum(weights, left)
        )
    return RegressionEfficiency(-slope, half_width, correlation, int(level.size))


def without_barometric_response(
    water_elevation_m: ArrayLike,
    air_pressure_m: ArrayLike,
    *,
    efficiency: ArrayLike,
    reference_air_pressure_m: ArrayLike,
) -> Floats:
    """Return the water elevation that would stand under a constant air pressure.

    Parameters
    ----------
    water_elevation_m : array_like
        Water elevation, the air taken off [m].
    air_pressure_m : array_like
        Air pressure at the same moments, in metres of water [m].
    efficiency : array_like
        Barometric efficiency, 0 to 1.
    reference_air_pressure_m : array_like
        The constant air pressure, in metres of water [m].

    Returns
    -------
    numpy.ndarray
        Water elevation without the well's answer to air pressure [m].

    Notes
    -----
    h + BE (B - B0): rising air pressure lowers the level in a well by BE times the rise. It takes the answer to be at
    once, which an unconfined aquifer under a thick unsaturated zone does not give. Never part of the compensation of an
    absolute sensor, and of no use for heads that a map or a threshold is to show (common practice, no source).

    Examples
    --------
    >>> found = without_barometric_response(49.982, 10.23, efficiency=0.6, reference_air_pressure_m=10.20)
    >>> round(float(found), 3)
    50.0
    """
    level, air, share, reference = broadcast(
        water_elevation_m=water_elevation_m,
        air_pressure_m=air_pressure_m,
        efficiency=efficiency,
        reference_air_pressure_m=reference_air_pressure_m,
    )
    return level + share * (air - reference)


def _rounding(values: Floats) -> float:
    """Return what rounding alone may make of the length of a vector of deviations from the mean."""
    largest = float(np.max(np.abs(values), initial=0.0, where=~np.isnan(values)))
    return 4 * float(np.finfo(np.float64).eps) * largest * float(np.sqrt(values.size))


def _paired(water_elevation_m: ArrayLike, air_pressure_m: ArrayLike) -> tuple[Floats, Floats]:
    """Return both series as arrays of one dimension and equal length."""
    level = np.asarray(water_elevation_m, dtype=np.float64)
    air = np.asarray(air_pressure_m, dtype=np.float64)
    if level.ndim != 1 or level.shape != air.shape:
        message = f"Water elevations have shape {level.shape} and air pressures {air.shape}; expected (n,) twice."
        raise ShapeError(message)
    return level, air
