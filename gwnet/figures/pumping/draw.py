"""Figures of pumping tests: drawdown and derivative, recovery, steps and distance, with model and residuals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullFormatter
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.axes import nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_height_mm
from gwnet.figures.base.symbols import line_symbol, mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text, shown
from gwnet.figures.pumping.data import CurveSeries, PlotPanel, PointSeries, PumpingPlotData

Floats = NDArray[np.float64]

_WIDTH_MM: Final = 174.0
#: Height of the panels, alone and where two figures share a page of a report.
PANEL_MM: Final = 82.0
REPORT_PANEL_MM: Final = 62.0
_BESIDE_MM: Final = 48.0
_LEFT_MM, _BETWEEN_MM, _RIGHT_MM, _AXIS_MM, _TITLE_MM = 16.0, 16.0, 3.0, 10.0, 6.0
#: Shapes, fills and dashes by well; lightness and shape differ, so that they can be read in grey.
_SHAPES: Final = ("o", "s", "^", "D", "v", "P", "X", "p")
_FILLS: Final = (style.WATER, style.SERIES, style.EARTH, style.RIVER, "#7A2E5D", "#B7A6D6", style.FLOW, style.RAIN)
_DASHES: Final[tuple[Any, ...]] = ("-", (0, (4, 1.6)), (0, (1.2, 1.2)), (0, (6, 1.5, 1.2, 1.5)))
_MARK_PT: Final = 3.4
_DERIVATIVE_PT: Final = 2.2


def draw_pumping(data: PumpingPlotData, *, panel_mm: float = PANEL_MM) -> Figure:
    """Draw a figure of a pumping test.

    Parameters
    ----------
    data : PumpingPlotData
        What to draw; see `gwnet.figures.pumping.data.pumping_plot_data`.
    panel_mm : float, optional
        Height of the panels [mm].
    """
    width = _WIDTH_MM - 2.0
    posted = [Words(shown(line)) for line in data.posted]
    words = _below(data)
    entries = _key(data)
    above = _TITLE_MM + block_height_mm(posted, width, style.LABEL_PT) + key_height_mm(entries, width) + 3.5
    below = block_height_mm(words, width, style.NOTE_PT) + 1.5
    with style.style_context():
        height = above + panel_mm + _AXIS_MM + below
        page = Page(style.new_figure((_WIDTH_MM, height)))
        title = fit(shown(data.title), width * style.PT_PER_MM, style.TITLE_PT, bold=True)
        y = page.height - 4.4
        page.text(1.0, y, title, size=style.TITLE_PT, weight="bold")
        y -= 1.6 + page.block(posted, 1.0, y - 1.0, width, style.LABEL_PT)
        page.key(entries, 1.0, y, width)
        beside = 0.0 if data.beside is None else _BESIDE_MM + _BETWEEN_MM
        box = Box(_LEFT_MM, below + _AXIS_MM, _WIDTH_MM - _LEFT_MM - _RIGHT_MM - beside, panel_mm)
        _draw_panel(page.axes(box), data.panel, box)
        if data.beside is not None:
            right = Box(box.right + _BETWEEN_MM, box.bottom, _BESIDE_MM, panel_mm)
            _draw_panel(page.axes(right), data.beside, right)
        page.block(words, 1.0, below - 0.5, width, style.NOTE_PT)
    return page.figure


def _below(data: PumpingPlotData) -> list[Words]:
    """Return the text below the panels: parameters with limits, then notes."""
    words = []
    if data.parameters:
        words.append(Words("Parameters with 95 % limits: " + "; ".join(data.parameters) + ".", bold=True))
    return [*words, *(Words(shown(note), gap_mm=0.6) for note in data.notes)]


def _key(data: PumpingPlotData) -> list[KeyEntry]:
    """Return the key of what is shown, and of nothing else."""
    entries = [
        KeyEntry(shown(name), mark_symbol(**_mark(place, taken=True)))
        for place, name in enumerate(data.wells)
        if any(points.well == place and points.x.size for points in data.panel.points)
    ]
    points = data.panel.points
    if any(not series.taken.all() for series in points):
        entries.append(KeyEntry("hollow: not part of the analysis", mark_symbol(**_mark(0, taken=False))))
    if any(series.is_derivative and series.x.size for series in points):
        entries.append(KeyEntry("small: derivative by ln t", mark_symbol(**_mark(0, taken=True, derivative=True))))
    curves = [*data.panel.curves, *(data.beside.curves if data.beside is not None else ())]
    if any(not curve.is_derivative for curve in curves):
        entries.append(KeyEntry("model", line_symbol(color=style.LIMIT, linewidth=style.LINE), 6.0))
    if any(curve.is_derivative for curve in curves):
        entries.append(KeyEntry("its derivative", line_symbol(color=style.LIMIT, linewidth=style.HAIR), 6.0))
    return entries


def _mark(place: int, *, taken: bool, derivative: bool = False) -> dict[str, Any]:
    fill = _FILLS[place % len(_FILLS)]
    return {
        "marker": _SHAPES[place % len(_SHAPES)],
        "markersize": _DERIVATIVE_PT if derivative else _MARK_PT,
        "markerfacecolor": fill if taken and not derivative else style.PAPER,
        "markeredgecolor": style.INK if not derivative else fill,
        "markeredgewidth": 0.35 if taken and not derivative else 0.6,
    }


def _draw_panel(axes: Axes, panel: PlotPanel, box: Box) -> None:
    points = [series for series in panel.points if series.x.size]
    curves = [series for series in panel.curves if series.x.size]
    x_low, x_high = _span([s.x for s in points], [], panel.x_scale, zero=False)
    lines = [series.y for series in curves if not series.is_derivative]
    y_low, y_high = _span([s.y for s in points], lines, panel.y_scale, zero=panel.y_scale == "linear")
    _scale_axis(axes, "x", x_low, x_high, panel.x_scale, box.width / 9.0)
    _scale_axis(axes, "y", y_low, y_high, panel.y_scale, box.height / 9.0)
    if panel.down:
        axes.invert_yaxis()
    if panel.zero_line:
        axes.axhline(0.0, color=style.SOFT, linewidth=style.THIN, zorder=1.2)
    for series in points:
        _draw_points(axes, series)
    for curve in curves:
        _draw_curve(axes, curve)
    axes.set_xlabel(panel.x_label, fontsize=style.LABEL_PT, labelpad=2.0)
    axes.set_ylabel(panel.y_label, fontsize=style.LABEL_PT, labelpad=2.0)
    axes.grid(visible=True, which="major", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)


def _draw_points(axes: Axes, series: PointSeries) -> None:
    for taken in (False, True):
        places = series.taken == taken
        if places.any():
            look = _mark(series.well, taken=taken, derivative=series.is_derivative)
            axes.plot(series.x[places], series.y[places], linestyle="none", zorder=3.0 if taken else 2.6, **look)


def _draw_curve(axes: Axes, curve: CurveSeries) -> None:
    axes.plot(
        curve.x,
        curve.y,
        color=style.LIMIT,
        linewidth=style.HAIR if curve.is_derivative else style.LINE,
        # All in the colour of models; dashes say which well a curve is of, also in grey.
        linestyle=_DASHES[curve.well % len(_DASHES)],
        zorder=3.4,
    )


def _span(points: Sequence[Floats], curves: Sequence[Floats], scale: str, *, zero: bool) -> tuple[float, float]:
    """Return the ends of an axis that hold all points, and of curves what lies within twice their span."""
    values = np.concatenate([part[np.isfinite(part)] for part in points]) if points else np.array([0.0, 1.0])
    if scale == "log":
        values = values[values > 0.0]
        low, high = (float(values.min()), float(values.max())) if values.size else (0.1, 10.0)
        room = max(0.04 * math.log10(high / low), 0.05)
        return low / 10.0**room, high * 10.0**room
    low, high = float(values.min(initial=math.inf)), float(values.max(initial=-math.inf))
    # A model that runs away from the readings must not press them into a line.
    reach = 0.5 * max(high - low, 1e-6)
    for part in curves:
        inside = part[np.isfinite(part)]
        if inside.size:
            low, high = max(float(inside.min()), low - reach, -math.inf) if inside.min() < low else low, high
            high = min(float(inside.max()), high + reach) if inside.max() > high else high
    # Drawdown is judged from none: an axis that begins elsewhere makes a small one look large.
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    room = 0.05 * (high - low) or 0.5
    return low - room, high + room


def _scale_axis(axes: Axes, which: str, low: float, high: float, scale: str, most: float) -> None:
    """Give an axis its ends and ticks: powers of ten with tenths between them, or round numbers."""
    axis = axes.xaxis if which == "x" else axes.yaxis
    set_limits = axes.set_xlim if which == "x" else axes.set_ylim
    if scale == "log":
        (axes.set_xscale if which == "x" else axes.set_yscale)("log")
        set_limits(low, high)
        ticks, minor = _log_ticks(low, high)
        axis.set_major_locator(FixedLocator(ticks))
        axis.set_minor_locator(FixedLocator(minor))
        axis.set_ticklabels([_tick_text(tick) for tick in ticks])
        axis.set_minor_formatter(NullFormatter())
    else:
        set_limits(low, high)
        step = nice_step(high - low, max(int(most), 3))
        ticks = round_ticks(low, high, step)
        axis.set_major_locator(FixedLocator(ticks))
        axis.set_ticklabels([number_text(tick, decimals_of_step(step)) for tick in ticks])
    axes.tick_params(axis="both", which="major", length=2.2, width=style.HAIR, pad=1.8, labelsize=style.TICK_PT)
    axes.tick_params(axis="both", which="minor", length=1.2, width=style.HAIR)


def _log_ticks(low: float, high: float) -> tuple[list[float], list[float]]:
    """Return labelled ticks and those between them: powers of ten, and 2 and 5 where there are few of them."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    powers = [10.0**power for power in range(first, last + 1)]
    inside = [tick for tick in powers if low <= tick <= high]
    # One or two labels are no scale.
    if len(inside) < 3:
        powers = [factor * tick for tick in powers for factor in (1.0, 2.0, 5.0)]
        inside = [tick for tick in powers if low <= tick <= high]
    minor = [factor * 10.0**power for power in range(first, last + 1) for factor in range(2, 10)]
    return inside, [tick for tick in minor if low <= tick <= high and tick not in inside]


def _tick_text(tick: float) -> str:
    """Return the label of a tick of a logarithmic axis."""
    if 1e-3 <= tick < 1e5:
        return f"{tick:.10f}".rstrip("0").rstrip(".")
    power = round(math.log10(tick))
    return "10" + str(power).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
