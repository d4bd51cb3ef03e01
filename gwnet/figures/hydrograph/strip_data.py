"""What the strips of a page of hydrographs share: one scale for all, and the window of each well on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from gwnet.figures.base.text import number_text
from gwnet.figures.hydrograph.data import HydrographPlotData
from gwnet.figures.hydrograph.span import common_levels
from gwnet.figures.hydrograph.surroundings import LevelLine
from gwnet.units import metres_per

#: Scales that are chosen from [unit of drawing per centimetre]; none finer, so that no few millimetres look like a
#: flood. Project defaults.
_SCALES: Final = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0)
#: Room above and below the levels, as a part of the strip.
_MARGIN: Final = 0.05
#: Wells that range this many times as widely as half of the others run beyond their strip. Project default.
_FAR_WIDER: Final = 3.0
#: Kinds of events that a window is made for.
_UNDISTURBED: Final = ("level", "estimate", "below the screen", "dry", "flowing", "screen bound")


def strip_extent(data: HydrographPlotData) -> tuple[float, float] | None:
    """Return the range of a well's undisturbed levels, without far outliers, and of its logger; None without any [m].

    Parameters
    ----------
    data : HydrographPlotData
        The well.

    Returns
    -------
    tuple of float or None
        Lowest and highest elevation [m].
    """
    undisturbed = np.isin(data.kind, _UNDISTURBED)
    if data.kind.size and undisturbed.mean() < 0.5:  # a pumped well is shown where it is read
        undisturbed = np.ones(data.kind.shape, dtype=bool)
    kept = data.elevation_m[undisturbed]
    heads = data.logger.elevations_m
    values = np.concatenate([kept[common_levels(kept)], heads[np.isfinite(heads)]])
    return (float(values.min()), float(values.max())) if values.size else None


def choose_strip_scale(wells: Sequence[HydrographPlotData], strip_mm: float) -> float:
    """Return the scale that all strips share [m per cm].

    Parameters
    ----------
    wells : sequence of HydrographPlotData
        Wells of one unit.
    strip_mm : float
        Height of a strip [mm].

    Returns
    -------
    float
        The finest of the round scales on which the widest strip fits; a well that ranges far wider than the others
        does not count, and runs beyond its strip.
    """
    unit_m = metres_per(wells[0].unit) if wells else 1.0
    ranges = sorted(high - low for low, high in filter(None, map(strip_extent, wells)))
    if not ranges:
        return _SCALES[0] * unit_m
    median = ranges[len(ranges) // 2]
    # One well beside a pump would press all others flat.
    widest = max(value for value in ranges if value <= max(_FAR_WIDER * median, ranges[0]))
    wanted = widest / (1 - 2 * _MARGIN) / (strip_mm / 10.0) / unit_m
    scale = next((scale for scale in _SCALES if scale >= wanted - 1e-9), math.ceil(wanted / 10.0) * 10.0)
    return scale * unit_m


def strip_window(data: HydrographPlotData, metres_per_cm: float, strip_mm: float) -> tuple[float, float]:
    """Return the ends of a well's strip on the common scale [m], the lower one a whole tenth of the unit.

    Parameters
    ----------
    data : HydrographPlotData
        The well.
    metres_per_cm : float
        Scale, from `choose_strip_scale`.
    strip_mm : float
        Height of the strip [mm].

    Returns
    -------
    tuple of float
        Lower and upper end. Thresholds are brought into view where they fit beside the levels.
    """
    height, unit_m = metres_per_cm * strip_mm / 10.0, metres_per(data.unit)
    low, high = strip_extent(data) or (0.0, 0.0)
    if high - low > height:
        middle = float(np.median(data.elevation_m)) if data.elevation_m.size else (low + high) / 2
        low = high = middle
    room = height * (1 - 2 * _MARGIN)
    # The nearest first: it is the one that the levels may reach.
    for line in sorted(current_thresholds(data), key=lambda line: _distance(line.elevation_m, low, high)):
        reach = max(high, line.elevation_m) - min(low, line.elevation_m)
        if reach <= room:
            low, high = min(low, line.elevation_m), max(high, line.elevation_m)
    tenth = 0.1 * unit_m
    start = round(((low + high) / 2 - height / 2) / tenth) * tenth
    return start, start + height


def current_thresholds(data: HydrographPlotData) -> list[LevelLine]:
    """Return the thresholds of a well that hold at the end of the time axis."""
    return [line for line in data.levels if line.kind in ("lower", "upper") and line.last >= data.last - 1.0]


def _distance(value: float, low: float, high: float) -> float:
    return max(low - value, value - high, 0.0)


def scale_text(metres_per_cm: float, unit: str) -> str:
    """Return a scale as printed.

    Examples
    --------
    >>> scale_text(0.7, "m")
    '0.7 m a centimetre'
    """
    value = metres_per_cm / metres_per(unit)
    return f"{number_text(value, 1 if value < 10 else 0)} {unit} a centimetre"
