"""The late answer of a well to air pressure, and to earth tides, by regression deconvolution.

Air pressure reaches a confined aquifer at once and an unconfined one through the unsaturated zone, hours to days later;
storage of the well itself delays it as well. One number cannot say that: the response function can.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.arrays import MICROSECONDS, Floats, series
from gwnet.hydro.loggers.limits import half_width_of_sum

#: Constituents of the earth tide that move wells most, with their frequencies in cycles a day: principal lunar and
#: solar, larger lunar elliptic (twice daily), lunisolar and principal lunar (once daily). Melchior (1983), The Tides of
#: the Planet Earth, table of the main waves, there in degrees an hour: M2 28.9841042, S2 30, N2 28.4397295,
#: K1 15.0410686, O1 13.9430356 (from memory).
TIDES: Final[dict[str, float]] = {
    name: degrees_an_hour * 24.0 / 360.0
    for name, degrees_an_hour in (
        ("M2", 28.9841042),
        ("S2", 30.0),
        ("N2", 28.4397295),
        ("K1", 15.0410686),
        ("O1", 13.9430356),
    )
}

#: Phases of tides are against this moment.
TIDE_EPOCH: Final = np.datetime64("2000-01-01T12:00", "us")

#: Fewest changes for each coefficient (project default).
_LEAST_PER_COEFFICIENT: Final = 5


@dataclass(frozen=True)
class Tide:
    """Answer of a well to one constituent of the earth tide.

    Attributes
    ----------
    name : str
        Its name in `TIDES`.
    amplitude_m, amplitude_half_width_m : float
        Amplitude of the level and its 95 % half-width [m].
    phase_deg, phase_half_width_deg : float
        Phase at `TIDE_EPOCH`, 0 to 360, and its 95 % half-width, 180 where the amplitude is not significant [deg].
    """

    name: str
    amplitude_m: float
    amplitude_half_width_m: float
    phase_deg: float
    phase_half_width_deg: float


@dataclass(frozen=True)
class BarometricResponse:
    """Answer of `deconvolve_response`.

    Attributes
    ----------
    lag_s : numpy.ndarray, shape (m + 1,)
        Time since a step of the air pressure, from 0 on [s].
    response : numpy.ndarray, shape (m + 1,)
        What the level has fallen by then over what the air pressure rose by, both in metres of water; NaN where the
        record does not serve.
    half_width : numpy.ndarray, shape (m + 1,)
        Its 95 % half-width.
    settling, settling_half_width : float
        How much the response still changes over the second half of the lags, and its 95 % half-width.
    tides : tuple of Tide
        Answer to the tides that were asked for.
    count : int
        Changes that the coefficients were fitted to.
    explained : float
        Share of the variance of the changes that air pressure and tides explain.
    why : str
        Why there is no response; empty where there is.
    """

    lag_s: Floats
    response: Floats
    half_width: Floats
    settling: float
    settling_half_width: float
    tides: tuple[Tide, ...]
    count: int
    explained: float
    why: str


def deconvolve_response(
    time_utc: ArrayLike,
    water_elevation_m: ArrayLike,
    air_pressure_m: ArrayLike,
    *,
    lags: int,
    tides: Sequence[str] = (),
) -> BarometricResponse:
    """Return the response of a well to a step of air pressure by regression deconvolution.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (n,)
        Times at even intervals.
    water_elevation_m : array_like, shape (n,)
        Water elevation, the air taken off; NaN leaves out the changes that need it [m].
    air_pressure_m : array_like, shape (n,)
        Air pressure at the same moments, in metres of water of the well's own density and gravity [m].
    lags : int
        Intervals over which the well may answer.
    tides : sequence of str, optional
        Constituents of `TIDES` that are fitted beside it; none unless given.

    Returns
    -------
    BarometricResponse
        Response function with limits.

    Raises
    ------
    ShapeError
        If the arrays do not fit together.
    ReductionError
        If the times are not at even intervals, lags are negative, or a tide is not known.

    Notes
    -----
    Changes of level are regressed on the changes of air pressure of the same interval and of those before, and on the
    changes of a cosine and sine of each tide; the running sum of the coefficients is the response to a step.
    Rasmussen and Crawford (1997), Ground Water 35(3), 502-511; Toll and Rasmussen (2007), Ground Water 45(1), 101-105
    (both from memory). Least squares by QR decomposition, with an intercept, which is an even rise of the level.
    Limits allow for serial correlation: `gwnet.hydro.loggers.limits.half_width_of_sum`. Where air pressure swings twice
    a day S2 and K1 are hard to tell from it, and their limits say so.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> at = np.datetime64("2024-01-01", "us") + np.arange(500) * np.timedelta64(1, "h")
    >>> air = 10.2 + np.cumsum(rng.normal(size=500)) * 0.003
    >>> level = 50.0 - 0.3 * air - 0.2 * np.concatenate([[air[0]], air[:-1]])
    >>> deconvolve_response(at, level, air, lags=2).response.round(3).tolist()
    [0.3, 0.5, 0.5]
    """
    when, level, air, step_s = _even(time_utc, water_elevation_m, air_pressure_m)
    if lags < 0 or (unknown := [name for name in tides if name not in TIDES]):
        message = f"{lags} lags cannot be." if lags < 0 else f"There is no tide {', '.join(map(repr, unknown))}."
        raise ReductionError(message, fix=f"Give 0 lags or more, and tides out of {', '.join(TIDES)}.")
    lag_s = np.arange(lags + 1, dtype=np.float64) * (0.0 if np.isnan(step_s) else step_s)
    rises, inputs = _changes(when, level, air, lags, tides)
    kept = ~(np.isnan(rises) | np.isnan(inputs).any(axis=1))
    rises, inputs = rises[kept], inputs[kept]
    count, width = inputs.shape
    if count < _LEAST_PER_COEFFICIENT * (width + 1):
        why = f"{count} changes are too few for {width + 1} coefficients, which need {_LEAST_PER_COEFFICIENT} each"
        return _nothing(lag_s, count, why)
    # Centred, which is the same as an intercept: an even rise of the level is no answer to the air.
    rises, inputs = rises - rises.mean(), inputs - inputs.mean(axis=0)
    basis, triangle = np.linalg.qr(inputs)
    pivots = np.abs(np.diagonal(triangle))
    size = np.sqrt(np.sum(np.square(inputs), axis=0))
    if not (pivots > 1e-6 * size).all():  # rounding leaves 1e-12 of an input that the others give
        return _nothing(lag_s, count, "the changes of air pressure at these lags cannot be separated from one another")
    coefficients = np.linalg.solve(triangle, basis.T @ rises)
    left = rises - inputs @ coefficients
    # error of the coefficients = influence summed over the changes
    influence = np.linalg.solve(triangle, (basis * left[:, None]).T).T
    sums = np.cumsum(influence[:, : lags + 1], axis=1)
    response = np.cumsum(coefficients[: lags + 1])
    # What the second half of the lags still adds: near 0, the well has answered in full.
    late = influence[:, lags // 2 + 1 : lags + 1].sum(axis=1)
    total = float(rises @ rises)
    return BarometricResponse(
        lag_s=lag_s,
        response=response,
        half_width=half_width_of_sum(sums),
        settling=float(response[-1] - response[lags // 2]),
        settling_half_width=float(half_width_of_sum(late)),
        tides=tuple(
            _tide(name, coefficients[place : place + 2], influence[:, place : place + 2])
            for place, name in zip(range(lags + 1, width, 2), tides, strict=True)
        ),
        count=count,
        explained=1.0 - float(left @ left) / total if total > 0 else float("nan"),
        why="",
    )


@dataclass(frozen=True)
class Response:
    """What air pressure made of the level: answer of `response_of_level`.

    Attributes
    ----------
    level_m : numpy.ndarray, shape (n,)
        What the response has made the level fall by, against the reference; NaN where the air pressure before is not
        known for as long as the well may answer. Added to the level it takes the response out [m].
    half_width_m : numpy.ndarray, shape (n,)
        Most that the limits of the response let it be out by [m].
    """

    level_m: Floats
    half_width_m: Floats


def response_of_level(
    air_pressure_m: ArrayLike, *, response: ArrayLike, half_width: ArrayLike, reference_air_pressure_m: float
) -> Response:
    """Return what air pressure made of the level of a well that answers late.

    Parameters
    ----------
    air_pressure_m : array_like, shape (n,)
        Air pressure at even intervals, in metres of water; NaN where it is not known [m].
    response, half_width : array_like, shape (m + 1,)
        Response to a step of the air pressure after 0 to m intervals, and its 95 % half-width:
        `deconvolve_response`.
    reference_air_pressure_m : float
        Constant air pressure that the level is brought to [m].

    Returns
    -------
    Response
        Sum over the lags of what each step of the air pressure made of the level.

    Raises
    ------
    ShapeError
        If response and half-width differ in shape.

    Notes
    -----
    With the response A after k intervals and b the air pressure less the reference, the level has fallen by A(m) b(t -
    m) plus the sum over k < m of A(k) (b(t - k) - b(t - k - 1)): Rasmussen and Crawford (1997), Toll and Rasmussen
    (2007), as in `deconvolve_response`. The half-width is the same sum of sizes, which is the most that it can be when
    the errors of all lags go one way.

    Examples
    --------
    >>> air = [10.0, 10.1, 10.1]
    >>> found = response_of_level(air, response=[0.2, 0.5], half_width=[0, 0], reference_air_pressure_m=10.0)
    >>> found.level_m.round(3).tolist()
    [nan, 0.02, 0.05]
    """
    air = np.asarray(air_pressure_m, dtype=np.float64) - reference_air_pressure_m
    values, widths = np.asarray(response, dtype=np.float64), np.asarray(half_width, dtype=np.float64)
    if air.ndim != 1 or values.shape != widths.shape or values.ndim != 1 or not values.size:
        message = f"Air pressures {air.shape}, response {values.shape}, half-width {widths.shape}: shapes do not fit."
        raise ShapeError(message, fix="Expected (n,), (m + 1,) and (m + 1,).")
    longest = values.size - 1
    level = _filtered(air, np.diff(values, prepend=0.0))
    last = np.concatenate([np.full(longest, np.nan), np.abs(air)])[: air.size]
    steps = np.abs(np.diff(air, prepend=np.nan))
    half = widths[-1] * last + (_filtered(steps, widths[:-1]) if longest else 0.0)
    return Response(level, np.where(np.isnan(level), np.nan, half))


def _filtered(values: Floats, weights: Floats) -> Floats:
    """Return the weighted sum of each value and those before it; NaN where one of them is missing."""
    from scipy.signal import fftconvolve

    known = np.isfinite(values)
    size = weights.size
    total = fftconvolve(np.where(known, values, 0.0), weights)[: values.size]
    # The transform spreads a missing value over all sums; those that hold one are made missing again.
    lacking = np.cumsum(~known)
    lacking = lacking - np.concatenate([np.zeros(size, np.int64), lacking])[: values.size]
    total[(lacking > 0) | (np.arange(values.size) < size - 1)] = np.nan
    return np.asarray(total, dtype=np.float64)


def _even(time_utc: ArrayLike, water_m: ArrayLike, air_m: ArrayLike) -> tuple[ArrayLike, Floats, Floats, float]:
    """Return times, levels, air pressures and the interval [s]; stop where they do not fit together."""
    when, level = series(time_utc, water_m, "series")
    air = np.asarray(air_m, dtype=np.float64)
    if air.shape != level.shape:
        message = f"Water elevations have shape {level.shape} and air pressures {air.shape}; expected (n,) twice."
        raise ShapeError(message)
    steps = np.unique(np.diff(when).astype(np.int64))
    if steps.size > 1:
        message = f"The intervals run from {steps[0] / MICROSECONDS:g} to {steps[-1] / MICROSECONDS:g} s; they differ."
        raise ReductionError(message, fix="Give levels and air pressures at even intervals.")
    return when, level, air, float(steps[0]) / MICROSECONDS if steps.size else float("nan")


def _changes(when: ArrayLike, level: Floats, air: Floats, lags: int, tides: Sequence[str]) -> tuple[Floats, Floats]:
    """Return the changes of level and of each input: falls of the air at each lag, cosine and sine of each tide."""
    # Falls, since a fall of the air raises the level: so the response comes out positive.
    rises, falls = np.diff(level), -np.diff(air)
    columns = [np.concatenate([np.full(lag, np.nan), falls])[: falls.size] for lag in range(lags + 1)]
    days = (np.asarray(when, dtype="datetime64[us]") - TIDE_EPOCH).astype(np.int64) / (86_400 * MICROSECONDS)
    for name in tides:
        # Only the part of a turn: the cosine of a hundred thousand turns would lose digits.
        angle = 2.0 * np.pi * np.remainder(TIDES[name] * days, 1.0)
        columns += [np.diff(np.cos(angle)), np.diff(np.sin(angle))]
    return rises, np.column_stack(columns)


def _nothing(lag_s: Floats, count: int, why: str) -> BarometricResponse:
    """Return an answer without a response."""
    missing = np.full(lag_s.shape, np.nan)
    nan = float("nan")
    return BarometricResponse(lag_s, missing, missing.copy(), nan, nan, (), count, nan, why)


def _tide(name: str, pair: Floats, influence: Floats) -> Tide:
    """Return amplitude and phase of a cosine and a sine, each with its half-width along and across the amplitude."""
    amplitude, phase = float(np.hypot(*pair)), float(np.arctan2(pair[1], pair[0]))
    along = float(half_width_of_sum(influence @ np.array([np.cos(phase), np.sin(phase)])))
    across = float(half_width_of_sum(influence @ np.array([-np.sin(phase), np.cos(phase)])))
    is_significant = amplitude > along and amplitude > across
    turned = float(np.degrees(np.arcsin(across / amplitude))) if is_significant else 180.0
    return Tide(name, amplitude, along, float(np.degrees(phase)) % 360.0, turned)
