"""Drawdown from depths to water: less the level before the test, with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError, ShapeError
from gwnet.hydro.pumping.fitting import student_95
from gwnet.hydro.pumping.results import PumpingRates

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DrawdownSeries:
    """Drawdowns of a well with the level they are counted from.

    Attributes
    ----------
    days, depth_m : numpy.ndarray, shape (n,)
        Times and depths to water as given [d, m].
    static_depth_m : numpy.ndarray, shape (n,)
        Depth that there would be without pumping [m].
    static_half_width_m : numpy.ndarray, shape (n,)
        Its 95 % half-width; NaN where it is not known [m].
    drawdown_m : numpy.ndarray, shape (n,)
        Depth less static depth, positive down, after the thickness correction where one was asked for [m].
    half_width_m : numpy.ndarray, shape (n,)
        95 % half-width of the drawdown from reading and static level; NaN where neither is known [m].
    background : str
        ``mean`` or ``line``.
    n_before : int
        Readings that the static level is from.
    slope_m_d : float
        Fall of the level a day before the test, positive down; 0 for a mean [m/d].
    slope_half_width_m_d : float
        Its 95 % half-width; NaN for a mean and for two readings [m/d].
    note : str
        What is to be known about the static level; empty for nothing.
    """

    days: Floats
    depth_m: Floats
    static_depth_m: Floats
    static_half_width_m: Floats
    drawdown_m: Floats
    half_width_m: Floats
    background: str
    n_before: int
    slope_m_d: float
    slope_half_width_m_d: float
    note: str


def drawdown_from_depths(
    days: ArrayLike,
    depth_m: ArrayLike,
    half_width_m: ArrayLike | None = None,
    *,
    background: str = "mean",
    window_days: tuple[float, float] = (-math.inf, 0.0),
    thickness_m: float | None = None,
) -> DrawdownSeries:
    """Return drawdowns from depths to water.

    Parameters
    ----------
    days : array_like, shape (n,)
        Times since the start of pumping, negative before it [d].
    depth_m : array_like, shape (n,)
        Depths to water, positive down, with their corrections for tape and air pressure [m].
    half_width_m : array_like, optional
        95 % half-widths of the depths, one number or shape (n,) [m].
    background : str, optional
        ``mean``: the static level is the mean of the readings in the window; ``line``: a straight line through them,
        which goes on during the test.
    window_days : tuple of float, optional
        First and last time of those readings; all up to the start of pumping unless given [d].
    thickness_m : float, optional
        Saturated thickness of an unconfined aquifer at rest; with it drawdowns are corrected after Jacob [m].

    Returns
    -------
    DrawdownSeries
        Drawdowns of all readings, with the level they are counted from.

    Raises
    ------
    ShapeError
        If the arrays do not fit together.
    AnalysisError
        If no reading lies in the window, or a line has fewer than two, or the window reaches beyond the start.
    """
    times, depth = np.asarray(days, dtype=np.float64), np.asarray(depth_m, dtype=np.float64)
    if times.ndim != 1 or times.shape != depth.shape:
        message = f"Times have the shape {times.shape} and depths {depth.shape}; expected (n,)."
        raise ShapeError(message)
    first, last = window_days
    if last > 0.0:
        message = f"The window of the static level ends {last:g} d after the start of pumping; expected 0 or less."
        raise AnalysisError(message, fix="End it at the start of pumping.")
    widths = np.full(times.shape, math.nan)
    if half_width_m is not None:
        widths = np.broadcast_to(np.asarray(half_width_m, dtype=np.float64), times.shape).copy()
    before = (times >= first) & (times <= last) & np.isfinite(depth)
    if not before.any():
        message = "No reading lies before the start of pumping, so the static level is not known."
        raise AnalysisError(message, fix="Add a reading before the start, or widen the window.")
    if background == "mean":
        static, static_width, slope, slope_width, note = _mean_level(depth[before], widths[before], times.size)
    elif background == "line":
        static, static_width, slope, slope_width, note = _level_line(times[before], depth[before], times)
    else:
        message = f"The background is {background!r}; expected mean or line."
        raise AnalysisError(message)
    drawdown = depth - static
    # A part that is not known adds nothing; it does not make the known one unknown.
    half_width = np.sqrt(np.nan_to_num(widths) ** 2 + np.nan_to_num(static_width) ** 2)
    # A half-width of 0 would give a reading infinite weight; here it means that none is known.
    half_width[half_width == 0.0] = math.nan
    if thickness_m is not None:
        # By the slope of s − s²/(2b).
        half_width = half_width * np.abs(1.0 - drawdown / thickness_m)
        drawdown = thickness_corrected(drawdown, thickness_m)
    return DrawdownSeries(
        times,
        depth,
        static,
        static_width,
        drawdown,
        half_width,
        background,
        int(before.sum()),
        slope,
        slope_width,
        note,
    )


def _mean_level(depth: Floats, widths: Floats, n: int) -> tuple[Floats, Floats, float, float, str]:
    """Return the mean level, its half-width, no slope, and a sentence."""
    count = depth.size
    read = float(np.sqrt(np.nanmean(widths**2)) / math.sqrt(count)) if np.isfinite(widths).any() else math.nan
    scatter = student_95(count - 1) * float(np.std(depth, ddof=1)) / math.sqrt(count) if count > 1 else math.nan
    # Whichever is larger: few readings may agree by chance, many may scatter more than a tape does.
    known = [value for value in (read, scatter) if math.isfinite(value)]
    note = "The static level is a single reading." if count == 1 else ""
    return np.full(n, float(np.mean(depth))), np.full(n, max(known) if known else math.nan), 0.0, math.nan, note


def _level_line(before: Floats, depth: Floats, times: Floats) -> tuple[Floats, Floats, float, float, str]:
    """Return the line through the levels before the test at all times, its half-width, slope and a sentence."""
    count = before.size
    if count < 2 or np.ptp(before) <= 0.0:
        message = f"A line through the levels before the test needs two times; there are {np.unique(before).size}."
        raise AnalysisError(message, fix="Use the mean, or widen the window.")
    centre = float(before.mean())
    spread = float(((before - centre) ** 2).sum())
    slope = float(((before - centre) * depth).sum() / spread)
    static = float(depth.mean()) + slope * (times - centre)
    if count == 2:
        return static, np.full(times.size, math.nan), slope, math.nan, "A line through two readings has no limits."
    residual = depth - depth.mean() - slope * (before - centre)
    sd = math.sqrt(float(residual @ residual) / (count - 2))
    quantile = student_95(count - 2)
    slope_width = quantile * sd / math.sqrt(spread)
    width = quantile * sd * np.sqrt(1.0 / count + (times - centre) ** 2 / spread)
    note = ""
    if abs(slope) <= slope_width:
        note = "The trend before the test is not significant at 5 %; the mean would do."
    if float(times.max()) > float(np.ptp(before)):
        note = f"{note} The line is extended by more than the time it was read over.".strip()
    return static, np.asarray(width, dtype=np.float64), slope, slope_width, note


def thickness_corrected(drawdown_m: ArrayLike, thickness_m: float) -> Floats:
    """Return the drawdowns of a confined aquifer that stand for those of an unconfined one: s − s²/(2b).

    Parameters
    ----------
    drawdown_m : array_like
        Drawdowns [m].
    thickness_m : float
        Saturated thickness b at rest [m].

    Returns
    -------
    numpy.ndarray
        Corrected drawdowns [m].

    Raises
    ------
    AnalysisError
        If the thickness is not above 0, or a drawdown exceeds it.

    Notes
    -----
    Jacob (1944), Notes on determining permeability by pumping tests under water-table conditions, USGS (from memory).

    Examples
    --------
    >>> float(thickness_corrected(2.0, 10.0))
    1.8
    """
    fall = np.asarray(drawdown_m, dtype=np.float64)
    if not thickness_m > 0.0:
        message = f"The saturated thickness is {thickness_m:g} m; expected a number above 0."
        raise AnalysisError(message)
    if fall.size and float(np.nanmax(fall)) > thickness_m:
        message = f"A drawdown of {float(np.nanmax(fall)):.3f} m exceeds the saturated thickness of {thickness_m:g} m."
        raise AnalysisError(message, fix="Check the thickness and the readings.")
    return np.asarray(fall - fall**2 / (2.0 * thickness_m), dtype=np.float64)


def days_since_change(rates: PumpingRates, days: ArrayLike) -> Floats:
    """Return the time since the last change of the rate.

    Parameters
    ----------
    rates : PumpingRates
        History of rates.
    days : array_like, shape (n,)
        Times [d].

    Returns
    -------
    numpy.ndarray, shape (n,)
        Time since the change before or at each; NaN before the first rate [d].
    """
    times = np.asarray(days, dtype=np.float64)
    place = np.searchsorted(rates.start_days, times, side="right") - 1
    return np.where(place >= 0, times - rates.start_days[np.maximum(place, 0)], math.nan)
