"""The logger line of a hydrograph, broken at gaps, and when the logger was installed.

Where the sensor was out of water there is no line but a bound: a broken rule at the elevation at or below which the
water was, with the marks of bounds on it. What an open finding keeps out is dotted, and the axis is not made for it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import day_number, thin_line, to_local_days
from gwnet.figures.base.symbols import Hatched, rectangle

Floats = NDArray[np.float64]

#: Thinning columns per millimetre of axis; finer than print shows.
_COLUMNS_PER_MM: Final = 12
#: Height of the strip that shows when a logger was installed [mm].
STRIP_MM: Final = 1.1
#: How far apart the marks of one bound stand [mm].
MARK_APART_MM: Final = 9.0
#: How the time in which a logger was installed looks, and that whose samples are left out.
INSTALLED: Final[dict[str, Any]] = {"facecolor": style.PAPER, "edgecolor": style.SOFT, "linewidth": style.HAIR}
#: How a line looks that an open finding keeps out.
DOUBTFUL: Final[dict[str, Any]] = {"color": style.LIMIT, "linewidth": style.HAIR, "dashes": (0.8, 1.4)}
LEFT_OUT: Final[dict[str, Any]] = {"facecolor": style.PAPER, "edgecolor": style.LIMIT, "linewidth": style.HAIR}


@dataclass(frozen=True, slots=True, eq=False)
class LoggerSeries:
    """Continuous heads of one well, for its hydrograph.

    Parameters
    ----------
    time_utc : numpy.ndarray of datetime64, shape (n,)
        Times, rising.
    water_elevation_m : numpy.ndarray, shape (n,)
        Water elevation; NaN where the line is broken or nothing is used [m].
    approved : numpy.ndarray of bool, shape (n,)
        Whether the head stands between approved manual readings.
    installed : tuple of (str, time, time or None)
        Instrument, and from when to when it was installed; None while it still is.
    left_out : tuple of (time, time)
        Intervals whose samples are on record and not used.
    notes : tuple of str
        Sentences for the caption.
    bounds : tuple of (time, time, float, float)
        Intervals without water above the sensor, and the elevation at or below which the water was at either end [m].
    doubtful_utc, doubtful_m : numpy.ndarray, shape (k,)
        Times and water elevations that an open finding keeps out; NaN where the line is broken [m].
    """

    time_utc: Any
    water_elevation_m: Any
    approved: Any
    installed: tuple[tuple[str, Any, Any], ...] = ()
    left_out: tuple[tuple[Any, Any], ...] = ()
    notes: tuple[str, ...] = ()
    bounds: tuple[tuple[Any, Any, float, float], ...] = ()
    doubtful_utc: Any = field(default_factory=lambda: np.empty(0, dtype="datetime64[us]"))
    doubtful_m: Any = field(default_factory=lambda: np.empty(0))

    def has_heads(self, first: dt.date, last: dt.date) -> bool:
        """Tell whether there is a head on days of UTC from the first to the last, both inside."""
        when = np.asarray(self.time_utc, dtype="datetime64[us]")
        inside = (when >= np.datetime64(first)) & (when < np.datetime64(last) + np.timedelta64(1, "D"))
        return bool(np.isfinite(np.asarray(self.water_elevation_m, dtype=np.float64)[inside]).any())


@dataclass(frozen=True, slots=True, eq=False)
class LoggerLine:
    """The same on the local clock, as days since 1970-01-01.

    Parameters
    ----------
    days, elevation_m : numpy.ndarray, shape (n,)
        The line, NaN where it is broken [d, m].
    approved : numpy.ndarray of bool, shape (n,)
        Whether a head stands between approved manual readings.
    installed, left_out : numpy.ndarray, shape (k, 2)
        From when to when; an open end is NaN.
    notes : tuple of str
        Sentences for the caption.
    bounds, bounds_m : numpy.ndarray, shape (k, 2)
        From when to when the water was at or below an elevation, and that at either end [d, m].
    doubtful_days, doubtful_m : numpy.ndarray, shape (k,)
        What an open finding keeps out, NaN where it is broken [d, m].
    """

    days: Floats = field(default_factory=lambda: np.empty(0))
    elevation_m: Floats = field(default_factory=lambda: np.empty(0))
    approved: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))
    installed: Floats = field(default_factory=lambda: np.empty((0, 2)))
    left_out: Floats = field(default_factory=lambda: np.empty((0, 2)))
    notes: tuple[str, ...] = ()
    bounds: Floats = field(default_factory=lambda: np.empty((0, 2)))
    bounds_m: Floats = field(default_factory=lambda: np.empty((0, 2)))
    doubtful_days: Floats = field(default_factory=lambda: np.empty(0))
    doubtful_m: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def elevations_m(self) -> Floats:
        """Return every elevation that the axis must show: heads and bounds, without any what is kept out [m]."""
        shown = np.concatenate([self.elevation_m, self.bounds_m.ravel()])
        # What is kept out must not stretch the axis, unless there is nothing else.
        return shown if np.isfinite(shown).any() else self.doubtful_m

    @property
    def times(self) -> Floats:
        """Return every day that the axis must show: of heads, of bounds and of what is kept out [d]."""
        return np.concatenate([self.days, self.bounds.ravel(), self.doubtful_days])


def logger_line(
    series: tuple[Any, Any] | LoggerSeries | None, zone: str, start: dt.date | None, end: dt.date | None
) -> LoggerLine:
    """Return a logger line on the local clock, cut to the wanted time.

    Parameters
    ----------
    series : LoggerSeries or tuple of array_like or None
        Continuous heads, or times in UTC and elevations alone; those count as approved.
    zone : str
        Time zone of the site.
    start, end : datetime.date or None
        First and last local date.
    """
    if series is None:
        return LoggerLine()
    if not isinstance(series, LoggerSeries):
        values = np.asarray(series[1], dtype=np.float64)
        series = LoggerSeries(series[0], values, np.ones(values.shape, dtype=bool))
    days = to_local_days(series.time_utc, zone)
    keep = _within(days, start, end)
    doubtful = np.asarray(series.doubtful_m, dtype=np.float64)
    doubtful_days = to_local_days(series.doubtful_utc, zone) if doubtful.size else np.empty(0)
    shown = _within(doubtful_days, start, end)
    bounds, bounds_m = _cut_bounds(series.bounds, zone, start, end)
    return LoggerLine(
        bounds=bounds,
        bounds_m=bounds_m,
        days=days[keep],
        elevation_m=np.asarray(series.water_elevation_m, dtype=np.float64)[keep],
        approved=np.asarray(series.approved, dtype=bool)[keep],
        installed=_spans([(since, to) for _, since, to in series.installed], zone),
        left_out=_spans(series.left_out, zone),
        notes=series.notes,
        doubtful_days=doubtful_days[shown],
        doubtful_m=doubtful[shown],
    )


def _within(days: Floats, start: dt.date | None, end: dt.date | None) -> NDArray[np.bool_]:
    """Return which days lie on local dates from a first to a last one."""
    keep = np.isfinite(days)
    if start is not None:
        keep &= days >= day_number(start)
    if end is not None:
        keep &= days < day_number(end) + 1
    return keep


def _cut_bounds(
    bounds: tuple[tuple[Any, Any, float, float], ...], zone: str, start: dt.date | None, end: dt.date | None
) -> tuple[Floats, Floats]:
    """Return bounds on the local clock, cut to the wanted time."""
    spans = _spans([(since, to) for since, to, _, _ in bounds], zone)
    elevations = np.array([(first, last) for _, _, first, last in bounds], dtype=np.float64).reshape(-1, 2)
    low = -np.inf if start is None else day_number(start)
    high = np.inf if end is None else day_number(end) + 1.0
    cut = np.clip(spans, low, high)
    # A bound of one sample has no length to divide by.
    length = np.where(spans[:, 1] > spans[:, 0], spans[:, 1] - spans[:, 0], 1.0)
    share = (cut - spans[:, :1]) / length[:, None]
    elevations = elevations[:, :1] + share * (elevations[:, 1:] - elevations[:, :1])
    kept = (spans[:, 1] >= low) & (spans[:, 0] < high)
    return cut[kept], elevations[kept]


def _spans(spans: Any, zone: str) -> Floats:
    flat = [moment for span in spans for moment in span]
    return to_local_days(flat, zone).reshape(-1, 2) if flat else np.empty((0, 2))


def draw_logger_line(
    axes: Axes, line: LoggerLine, limits: tuple[float, float], *, width_mm: float, factor: float
) -> None:
    """Draw the line; thinned to what the width can show, each column with its smallest and largest head.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes of the levels.
    line : LoggerLine
        What to draw.
    limits : tuple of float
        First and last day of the data.
    width_mm : float
        Width of the axes [mm].
    factor : float
        Display units in a metre.
    """
    columns = max(int(width_mm * _COLUMNS_PER_MM), 1)
    if line.days.size:
        values = line.elevation_m * factor
        kept = thin_line(line.days, values, limits, columns)
        # Below the manual readings, which are what holds the line.
        axes.plot(line.days[kept], values[kept], color=style.WATER, linewidth=style.LINE, zorder=2.6)
    if line.doubtful_m.size:
        values = line.doubtful_m * factor
        kept = thin_line(line.doubtful_days, values, limits, columns)
        axes.plot(line.doubtful_days[kept], values[kept], zorder=2.5, **DOUBTFUL)


def draw_bounds(axes: Axes, line: LoggerLine, mark: dict[str, Any], *, per_day_mm: float, factor: float) -> None:
    """Draw the bounds of a sensor out of water: a broken rule at each, with marks of a bound along it.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes of the levels.
    line : LoggerLine
        What to draw.
    mark : dict
        Options of the mark of a bound.
    per_day_mm : float
        Length of a day on the axis [mm].
    factor : float
        Display units in a metre.
    """
    before = -np.inf
    for days, elevation in zip(line.bounds, line.bounds_m * factor, strict=True):
        axes.plot(days, elevation, color=style.EARTH, linewidth=style.HAIR, dashes=(3.0, 1.6), zorder=2.7)
        count = max(int((days[1] - days[0]) * per_day_mm / MARK_APART_MM), 1)
        at = days[0] + (days[1] - days[0]) * (np.arange(count) + 0.5) / count
        shown = []
        for day in at:
            # A sensor that falls dry every day makes hundreds of bounds; marks of each would be a band.
            if (day - before) * per_day_mm >= MARK_APART_MM / 2:
                shown.append(day)
                before = day
        if shown:
            axes.plot(shown, np.interp(shown, days, elevation), linestyle="none", zorder=3.4, clip_on=False, **mark)


def draw_logger_strip(axes: Axes, line: LoggerLine, limits: tuple[float, float], *, height_mm: float) -> None:
    """Draw at the foot of the axes when a logger was installed, hatched where its samples are left out.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes of the levels.
    line : LoggerLine
        What to draw.
    limits : tuple of float
        First and last day of the data.
    height_mm : float
        Height of the axes [mm].
    """
    transform = axes.get_xaxis_transform()
    for spans, left_out in ((line.installed, False), (line.left_out, True)):
        open_end = np.where(np.isnan(spans[:, 1]), limits[1], spans[:, 1])
        since, to = np.maximum(spans[:, 0], limits[0]), np.minimum(open_end, limits[1])
        for left, right in zip(since, to, strict=True):
            if right > left:
                size = (right - left, STRIP_MM / height_mm)
                if left_out:
                    strip = Hatched(rectangle(left, 0.0, *size), "strokes", transform=transform, zorder=2.3, **LEFT_OUT)
                    axes.add_patch(strip)
                else:
                    axes.add_patch(Rectangle((left, 0.0), *size, transform=transform, zorder=2.2, **INSTALLED))
