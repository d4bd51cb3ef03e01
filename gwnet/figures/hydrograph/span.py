"""Vertical spans of hydrographs: round, never too small, the same for all wells of a group."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import MAD_TO_SD
from gwnet.figures.base.axes import nice_step
from gwnet.figures.hydrograph.events import event_kinds
from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.figures.hydrograph.surroundings import LevelLine, threshold_lines
from gwnet.units import metres_per

#: Least height of a vertical axis [m]; project default, so that a few millimetres never look like a flood.
LEAST_SPAN_M: Final = 1.0
#: Wells whose levels together fill at most this many times the range of the liveliest one share their limits;
#: otherwise they share only the height of the axis. Project default.
_SHARED_LIMITS: Final = 2.5
#: Kinds of events that a group's span is made for.
_UNDISTURBED: Final = ("level", "estimate", "below the screen", "dry", "flowing")
#: A well of whose marks more than this part would stand beyond the group's span gets one of its own. Project default.
_MOST_BEYOND: Final = 0.1
#: Levels this many robust standard deviations from their well's median do not stretch the span of a group, in wells
#: with enough levels to tell; at least this spread is taken for one [m]. Project defaults.
_FAR_OUTLIER: Final = 8.0
_FEWEST_TO_TRIM: Final = 8
_LEAST_SPREAD_M: Final = 0.02
#: Room above and below the levels, as a part of the height.
_MARGIN: Final = 0.07
#: Thresholds within this part of the levels' range beyond it are brought into view.
_REACH: Final = 0.8


@dataclass(frozen=True, slots=True)
class Span:
    """Vertical span of a group of hydrographs.

    Parameters
    ----------
    height_m : float
        Height of the axis, the same for every well of the group [m].
    low_m : float, optional
        Lower end, when the wells share it too; otherwise each well's levels stand in the middle [m].
    """

    height_m: float
    low_m: float | None = None


def common_span(
    frames: Iterable[pd.DataFrame],
    *,
    thresholds: pd.DataFrame | None = None,
    series: Mapping[str, LoggerSeries] | None = None,
    least_m: float = LEAST_SPAN_M,
    unit: str = "m",
) -> Span:
    """Return the vertical span that the hydrographs of a group share.

    Parameters
    ----------
    frames : iterable of pandas.DataFrame
        Levels frame of each well [m]; a well with loggers alone has none.
    thresholds : pandas.DataFrame, optional
        Thresholds frame; those near a well's levels are brought into view.
    series : mapping of str to LoggerSeries, optional
        Continuous heads by well of the group [m].
    least_m : float, optional
        Least height [m].
    unit : {"m", "ft"}
        Unit of the axes, to whose round steps the span is widened.

    Returns
    -------
    Span
        With common limits when the levels of all wells fill at most 2.5 times the range of the liveliest one;
        otherwise with a common height only, so that wells at very different elevations keep their detail. Levels
        disturbed by pumping and the like, and far outliers, do not stretch it.
    """
    of_well = {str(well): own for frame in frames for well, own in frame.groupby("well", sort=True)}
    loggers = series or {}
    extents = [
        _extent(of_well.get(well), loggers.get(well), threshold_lines(thresholds, well, "UTC", -math.inf, math.inf))
        for well in (*of_well, *(well for well in loggers if well not in of_well))
    ]
    ranges = [extent for extent in extents if extent is not None]
    if not ranges:
        return Span(_round_height(least_m, unit))
    tallest = max(max(high - low for low, high in ranges), least_m / (1 + 2 * _MARGIN))
    lowest, highest = min(low for low, _ in ranges), max(high for _, high in ranges)
    # The same limits are better than the same height alone, but wells on a slope would be flat lines then.
    if highest - lowest <= _SHARED_LIMITS * tallest:
        low, high = _rounded_limits(lowest, highest, max(tallest, highest - lowest), least_m, unit)
        return Span(high - low, low)
    return Span(_round_height(tallest * (1 + 2 * _MARGIN), unit))


def _extent(
    events: pd.DataFrame | None, logged: LoggerSeries | None, limits: Sequence[LevelLine]
) -> tuple[float, float] | None:
    """Return the range of a well: its manual readings, the heads and bounds of its loggers, thresholds near them."""
    elevation, kinds = np.empty(0), np.empty(0, dtype=object)
    if events is not None:
        kinds = event_kinds(events)
        undisturbed = np.isin(kinds, _UNDISTURBED)
        # A well that was only ever read under pumping is shown by that.
        kept = undisturbed if undisturbed.any() else kinds != ""
        elevation = events["water_elevation_m"].to_numpy(dtype=np.float64)[kept]
        common = common_levels(elevation)
        elevation, kinds = elevation[common], kinds[kept][common]
    heads = np.empty(0)
    if logged is not None:
        of_bounds = [elevation for bound in logged.bounds for elevation in bound[2:]]
        heads = np.append(np.asarray(logged.water_elevation_m, dtype=np.float64), of_bounds)
    return _range(elevation, kinds, heads, limits)


def common_levels(elevation: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which levels of a well are no far outliers; those are pointed at beyond the group's axis.

    Parameters
    ----------
    elevation : numpy.ndarray, shape (n,)
        Levels [m].

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        All where there are too few to tell.
    """
    if elevation.size < _FEWEST_TO_TRIM:
        return np.ones(elevation.shape, dtype=bool)
    off = np.abs(elevation - np.median(elevation))
    return off <= _FAR_OUTLIER * max(MAD_TO_SD * float(np.median(off)), _LEAST_SPREAD_M)


def vertical_limits(
    elevation: NDArray[np.float64],
    kind: NDArray[np.object_],
    series_m: NDArray[np.float64],
    limits: Sequence[LevelLine],
    span: Span | None,
    unit: str,
) -> tuple[float, float]:
    """Return the ends of the vertical axis [m]: the group's span, else the well's own.

    A well much of whose record would stand beyond the group's span, such as a pumped one, gets its own.
    """
    extent = _range(elevation, kind, series_m, limits) or (0.0, 0.0)
    if span is not None:
        low = span.low_m
        if low is None:
            step = _limit_step(span.height_m, unit)
            low = math.floor((sum(extent) / 2 - span.height_m / 2) / step + 0.5) * step
        trusted = elevation[kind != "unusable"]
        beyond = (trusted < low) | (trusted > low + span.height_m)
        # A few marks may stand beyond and be pointed at; a well mostly beyond says nothing on the group's axis.
        if not trusted.size or beyond.mean() <= _MOST_BEYOND:
            return low, low + span.height_m
    return _rounded_limits(*extent, extent[1] - extent[0], LEAST_SPAN_M, unit)


def _range(
    elevation: NDArray[np.float64],
    kind: NDArray[np.object_],
    series_m: NDArray[np.float64],
    limits: Sequence[LevelLine],
) -> tuple[float, float] | None:
    """Return the range that must be on the sheet; rejected readings far off do not stretch it."""
    trusted = np.concatenate([elevation[kind != "unusable"], series_m[np.isfinite(series_m)]])
    if not trusted.size:
        # Nothing but rejected readings: then they make the axis.
        trusted = elevation
    if not trusted.size:
        return None
    low, high = float(trusted.min()), float(trusted.max())
    # A threshold far off is no reason to press the levels into a line; it is pointed at in the margin.
    reach = max(_REACH * (high - low), LEAST_SPAN_M / 2)
    floor, ceiling = low - reach, high + reach
    others = [*elevation.tolist(), *(line.elevation_m for line in limits)]
    near = [value for value in others if floor <= value <= ceiling]
    return min([low, *near]), max([high, *near])


def _limit_step(height_m: float, unit: str) -> float:
    """Return the step [m] to whose multiples limits are rounded: half a tick."""
    factor = metres_per(unit)
    return nice_step(height_m / factor, 8) / 2 * factor


def _round_height(height_m: float, unit: str) -> float:
    step = _limit_step(height_m, unit)
    return math.ceil(height_m / step - 1e-9) * step


def _rounded_limits(low: float, high: float, height: float, least_m: float, unit: str) -> tuple[float, float]:
    wanted = max(height * (1 + 2 * _MARGIN), least_m)
    middle = (low + high) / 2
    step = _limit_step(wanted, unit)
    below = math.floor((middle - wanted / 2) / step + 1e-9) * step
    above = math.ceil((middle + wanted / 2) / step - 1e-9) * step
    return below, above
